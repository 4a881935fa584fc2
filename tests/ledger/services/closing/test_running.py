"""Closing a household: the stored result is the core's, whole or not at all, once."""

from __future__ import annotations

from datetime import date

import pytest
from django.db import Error, transaction

from config.database import firm_scope
from ledger.core.close import evaluate
from ledger.core.report import month_json, run_json
from ledger.models import Finding, FindingEvent, HouseholdMonth
from ledger.services.closing import claiming, facts, running
from ledger.services.closing.claiming import LostLeaseError
from tests.ledger.services.closing import book

pytestmark = pytest.mark.django_db

MONTHS = [f"2025-{number:02d}" for number in range(1, 11)]


@pytest.fixture
def firm():
    firm_id = book.firm_of("Lantern Ridge", book.sample("personal-draw-cured"))
    book.schedule(firm_id, *MONTHS)
    return firm_id


def close_all(firm_id, **options):
    return running.run_household(firm_id=firm_id, household_id=book.household(firm_id), **options)


def test_each_stored_month_is_what_evaluate_says(firm):
    outcomes = close_all(firm)
    assert [one.state for one in outcomes] == ["done"] * len(MONTHS)
    with firm_scope(firm):
        value, thresholds = facts.household_value(book.household(firm))
    for row in book.rows(firm):
        month = f"{row.month:%Y-%m}"
        report = evaluate(value, month, thresholds)
        expected = month_json(report.closes[-1])
        assert {name: row.result[name] for name in expected} == expected
        assert row.result["drift"] == [run_json(one) for one in report.runs]
        assert row.input_digest == report.closes[-1].digest


def test_the_list_of_findings_is_the_newest_months(firm):
    close_all(firm)
    newest = book.row(firm, "2025-10").result["drift"]
    assert newest
    with firm_scope(firm):
        listed = {
            (one.code, one.key, f"{one.first_month:%Y-%m}", f"{one.last_month:%Y-%m}", one.open)
            for one in Finding.objects.all()
        }
    assert listed == {
        (one["code"], one["key"], one["first"], one["last"], one["open"]) for one in newest
    }


def test_one_month_closed_alone_lists_what_closing_them_all_lists(firm):
    close_all(firm)
    other = book.firm_of("Alder Point", book.sample("personal-draw-cured"))
    book.schedule(other, "2025-10")
    close_all(other)

    def listed(firm_id):
        with firm_scope(firm_id):
            columns = ("code", "key", "first_month", "last_month", "dollars_cents", "open")
            return sorted(Finding.objects.values_list(*columns))

    assert listed(firm) == listed(other)


def test_closing_again_writes_nothing(firm):
    close_all(firm)
    with firm_scope(firm):
        before = FindingEvent.objects.count()
    assert close_all(firm, recheck=True) == ()
    assert [one.version for one in book.rows(firm)] == [1] * len(MONTHS)
    with firm_scope(firm):
        assert FindingEvent.objects.count() == before


def test_months_close_in_order_whatever_is_asked_first(firm):
    with firm_scope(firm):
        first = claiming.claim_next(book.household(firm), date(2025, 10, 1))
    assert first is not None
    assert first.month == date(2025, 1, 1)
    with firm_scope(firm):
        assert claiming.claim_next(book.household(firm), date(2025, 10, 1)) is None


def test_a_parked_month_does_not_hold_up_the_later_ones(firm):
    book.bend(firm, "UPDATE ledger_householdmonth SET state = 'parked' WHERE month = '2025-01-01'")
    assert [one.state for one in close_all(firm)] == ["done"] * (len(MONTHS) - 1)


def test_a_zombies_result_changes_no_row(firm):
    household = book.household(firm)
    with firm_scope(firm):
        claim = claiming.claim_next(household, date(2025, 10, 1))
        value, thresholds = facts.household_value(household)
    assert claim is not None
    from ledger.core.close import Closing
    from ledger.core.month_result import HouseholdCloser

    kept = HouseholdCloser(Closing(value, thresholds), "2025-10").close("2025-01")
    book.bend(
        firm,
        "UPDATE ledger_householdmonth SET lease_until = now() - interval '1 s'"
        " WHERE state = 'running'",
    )
    close_all(firm)
    finished = book.row(firm, "2025-01")
    with pytest.raises(LostLeaseError), firm_scope(firm):
        running.write(claim, kept, firm_id=firm)
    with pytest.raises(LostLeaseError), firm_scope(firm):
        claiming.give_up(claim, "too late", lasting=False)
    again = book.row(firm, "2025-01")
    assert (again.fence, again.closed_at, again.state) == (
        finished.fence,
        finished.closed_at,
        "done",
    )


@pytest.mark.parametrize(
    "change",
    [{"result": {}}, {"result_digest": "0" * 64}, {"input_digest": ""}, {"engine": "other"}],
)
def test_the_database_refuses_to_change_a_result(firm, change):
    close_all(firm)
    with pytest.raises(Error, match="is kept"), firm_scope(firm), transaction.atomic():
        HouseholdMonth.objects.filter(month=date(2025, 1, 1)).update(**change)


def test_the_database_refuses_to_change_what_happened_to_a_finding(firm):
    close_all(firm)
    with pytest.raises(Error), firm_scope(firm), transaction.atomic():
        FindingEvent.objects.update(reason="rewritten")


def test_another_firm_sees_none_of_it(firm):
    close_all(firm)
    stranger = book.new_firm("Alder Point")
    with firm_scope(stranger):
        assert HouseholdMonth.objects.count() == 0
        assert Finding.objects.count() == 0
