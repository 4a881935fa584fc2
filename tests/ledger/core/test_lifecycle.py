"""The states of a household's month: every move, every wait, every count."""

from datetime import date

import pytest

from ledger.core.lifecycle import (
    ITEM_STATES,
    MAX_ATTEMPTS,
    MOVES,
    UNFINISHED,
    backoff_seconds,
    close_state,
    may_move,
    state_after_failure,
    waits_until,
)


def test_every_state_has_its_moves():
    assert set(MOVES) == set(ITEM_STATES)
    for targets in MOVES.values():
        assert targets <= set(ITEM_STATES)


@pytest.mark.parametrize("old", ITEM_STATES)
def test_only_a_running_month_becomes_done_and_only_an_unread_one_returns(old):
    assert may_move(old, "done") == (old in {"running", "superseded"})


def test_a_done_month_can_only_be_replaced():
    assert MOVES["done"] == {"superseded"}


@pytest.mark.parametrize(("attempt", "seconds"), [(1, 30), (2, 120), (3, 480), (4, 1920)])
def test_each_failure_waits_four_times_longer(attempt, seconds):
    assert backoff_seconds(attempt) == seconds


@pytest.mark.parametrize("attempt", range(1, MAX_ATTEMPTS))
def test_a_passing_fault_is_tried_again(attempt):
    assert state_after_failure(attempt, lasting=False, max_attempts=MAX_ATTEMPTS) == "failed"


def test_the_fifth_failure_is_put_aside():
    assert state_after_failure(5, lasting=False, max_attempts=5) == "parked"


def test_a_fault_of_the_data_is_put_aside_at_once():
    assert state_after_failure(1, lasting=True, max_attempts=5) == "parked"


@pytest.mark.parametrize("state", UNFINISHED)
def test_one_unfinished_item_keeps_a_close_open(state):
    assert close_state({"done": 23, "parked": 1, state: 1}) == "running"


def test_a_close_nobody_started_is_scheduled():
    assert close_state({"pending": 3, "waiting": 1}) == "scheduled"


def test_a_close_with_everything_done_is_complete():
    assert close_state({"done": 24}) == "complete"


def test_a_parked_household_is_an_exception_not_a_hold():
    assert close_state({"done": 23, "parked": 1}) == "complete_with_exceptions"


def test_the_wait_for_statements_ends_ten_days_after_the_month():
    assert waits_until(date(2028, 2, 29)) == date(2028, 3, 10)
