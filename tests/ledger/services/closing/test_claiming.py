"""Who works on a month: one at a time, as long as the lease lasts, a bounded number of times."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from config.database import firm_scope
from ledger.services.closing import claiming, running
from tests.ledger.services.closing import book

pytestmark = pytest.mark.django_db


@pytest.fixture
def firm():
    firm_id = book.firm_of("Lantern Ridge", book.sample("limits"))
    book.schedule(firm_id, "2025-01", "2025-02")
    return firm_id


def claim(firm_id):
    with firm_scope(firm_id):
        return claiming.claim_next(book.household(firm_id), book.day("2025-02"))


def together(count, act):
    """Run an act in threads that start at the same moment; what each returned."""
    ready = threading.Barrier(count)

    def one(_number):
        try:
            ready.wait()
            return act()
        finally:
            connection.close()

    with ThreadPoolExecutor(count) as pool:
        return list(pool.map(one, range(count)))


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_of_two_workers_one_gets_the_month(firm):
    household = book.household(firm)

    def act():
        with firm_scope(firm):
            return claiming.claim_next(household, book.day("2025-02"))

    for _ in range(10):
        claims = together(2, act)
        assert sorted(one is not None for one in claims) == [False, True]
        book.bend(
            firm,
            "UPDATE ledger_householdmonth SET state = 'pending', attempt = 0, lease_until = NULL",
        )


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_two_workers_on_one_household_close_each_month_once(firm):
    household = book.household(firm)
    found = together(2, lambda: running.run_household(firm_id=firm, household_id=household))
    done = [one.month for part in found for one in part if one.state == "done"]
    assert len(done) == len(set(done))
    running.run_household(firm_id=firm, household_id=household)
    assert [(one.state, one.version) for one in book.rows(firm)] == [("done", 1)] * 2


def test_a_claim_raises_fence_and_attempt(firm):
    first = claim(firm)
    assert (first.fence, first.attempt) == (1, 1)
    book.bend(firm, "UPDATE ledger_householdmonth SET lease_until = now() WHERE state = 'running'")
    second = claim(firm)
    assert (second.id, second.fence, second.attempt) == (first.id, 2, 2)


def test_a_lease_that_lasts_is_respected(firm):
    assert claim(firm) is not None
    assert claim(firm) is None


def test_a_failure_waits_and_a_fifth_is_parked(firm):
    states = []
    for _ in range(5):
        found = claim(firm)
        with firm_scope(firm):
            states.append(claiming.give_up(found, "the disk is full", lasting=False))
        assert claim(firm) is None or states[-1] == "parked"
        book.bend(
            firm, "UPDATE ledger_householdmonth SET due_at = now() WHERE month = '2025-01-01'"
        )
    assert states == ["failed"] * 4 + ["parked"]
    assert book.row(firm, "2025-01").error == "the disk is full"


def test_a_fault_of_the_data_is_parked_at_once(firm):
    with firm_scope(firm):
        assert claiming.give_up(claim(firm), "no such line", lasting=True) == "parked"


def test_a_worker_that_dies_every_time_is_parked_by_the_sweep(firm):
    for _ in range(5):
        assert claim(firm) is not None
        book.bend(
            firm, "UPDATE ledger_householdmonth SET lease_until = now() WHERE state = 'running'"
        )
        with firm_scope(firm):
            assert claiming.release_expired() == 1
    found = book.row(firm, "2025-01")
    assert (found.state, found.attempt) == ("parked", 5)
    assert "died" in found.error
