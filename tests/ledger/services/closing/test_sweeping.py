"""The sweep: dead workers, waits that are over, lost hints, closes nobody finished."""

from __future__ import annotations

import pytest

from config.database import firm_scope
from ledger.models import MonthClose
from ledger.selectors import runs
from ledger.services.closing import claiming, running, sweeping
from tests.ledger.services.closing import book

pytestmark = pytest.mark.django_db


@pytest.fixture
def firm():
    firm_id = book.firm_of("Lantern Ridge", book.sample("limits"), book.sample("papers"))
    book.schedule(firm_id, "2025-01", "2025-02")
    return firm_id


def test_a_dead_workers_month_is_due_again(firm):
    with firm_scope(firm):
        claim = claiming.claim_next(book.household(firm), book.day("2025-02"))
    assert claim is not None
    assert sweeping.sweep_firm(firm).released == 0
    book.bend(firm, "UPDATE ledger_householdmonth SET lease_until = now() WHERE state = 'running'")
    assert sweeping.sweep_firm(firm).released == 1
    found = [one for one in book.rows(firm) if one.pk == claim.id]
    assert (found[0].state, found[0].fence) == ("pending", 2)


def test_one_hint_a_household_and_not_again_at_once(firm):
    assert sweeping.sweep_firm(firm).hinted == 2
    assert sweeping.sweep_firm(firm).hinted == 0
    book.bend(firm, "UPDATE ledger_householdmonth SET hinted_at = now() - interval '61 s'")
    assert sweeping.sweep_firm(firm).hinted == 2


def test_a_stale_month_is_hinted(firm):
    for ref in ("HH-0304", "HH-0307"):
        running.run_household(firm_id=firm, household_id=book.household(firm, ref))
    assert sweeping.sweep_firm(firm).hinted == 0
    book.bend(
        firm,
        "UPDATE ledger_householdmonth SET stale_reason = 'restated' WHERE month = '2025-02-01'",
    )
    assert sweeping.sweep_firm(firm).hinted == 2


def test_a_month_whose_wait_is_over_wakes(firm):
    book.bend(firm, "UPDATE ledger_householdmonth SET state = 'waiting'")
    assert sweeping.sweep_firm(firm).woken == 4


def test_a_close_that_nobody_finished_is_finished(firm):
    for ref in ("HH-0304", "HH-0307"):
        running.run_household(firm_id=firm, household_id=book.household(firm, ref))
    book.bend(firm, "UPDATE ledger_monthclose SET state = 'running', completed_at = NULL")
    assert sweeping.sweep_firm(firm).finished == 2
    with firm_scope(firm):
        assert set(MonthClose.objects.values_list("state", flat=True)) == {"complete"}


def test_a_close_with_a_parked_household_completes_with_exceptions(firm):
    book.bend(
        firm,
        "UPDATE ledger_householdmonth SET state = 'parked', error = 'no such line'"
        " WHERE household_id = %(id)s",
        id=book.household(firm, "HH-0304"),
    )
    running.run_household(firm_id=firm, household_id=book.household(firm, "HH-0307"))
    sweeping.sweep_firm(firm)
    with firm_scope(firm):
        progress = runs.closes()
        parked = runs.items(first=book.day("2025-01"), last=book.day("2025-02"), state="parked")
    assert {one.state for one in progress} == {"complete_with_exceptions"}
    assert [(one.done, one.parked, one.total) for one in progress] == [(1, 1, 2)] * 2
    assert {one.error for one in parked} == {"no such line"}


def test_the_progress_of_closes_takes_one_query(firm, django_assert_num_queries):
    with firm_scope(firm), django_assert_num_queries(1):
        assert len(runs.closes()) == 2


def test_a_firm_is_swept_in_its_own_scope_alone(firm):
    stranger = book.firm_of("Alder Point", book.sample("steady"))
    book.schedule(stranger, "2025-01")
    assert sweeping.sweep_firm(stranger).hinted == 1
    assert {one.hinted_at for one in book.rows(firm)} == {None}


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_a_broker_that_is_away_fails_no_sweep(firm, monkeypatch):
    from config import sending
    from config.celery import app

    monkeypatch.setattr(sending, "_quiet_until", 0.0)
    with app.connection_for_write("redis://127.0.0.1:1/0") as away:
        monkeypatch.setattr(app, "connection_for_write", lambda *_args, **_options: away.clone())
        app.amqp._producer_pool = None
        assert sweeping.sweep_firm(firm).hinted == 2
        assert sending._quiet_until > 0
    app.amqp._producer_pool = None
