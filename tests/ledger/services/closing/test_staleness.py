"""Late and corrected facts: marked in their own transaction, closed again, nothing overwritten."""

from __future__ import annotations

from datetime import date

import pytest

from config.database import firm_scope
from ledger.models import Finding, FindingEvent, MonthClose
from ledger.services.closing import claiming, running, scheduling, staleness
from planning.access import Access
from tests.ledger.services.closing import book

pytestmark = pytest.mark.django_db

MONTHS = [f"2025-{number:02d}" for number in range(1, 9)]
PAPERS = book.sample("papers")


@pytest.fixture
def firm():
    firm_id = book.firm_of("Lantern Ridge", PAPERS)
    book.schedule(firm_id, *MONTHS)
    close(firm_id)
    return firm_id


def close(firm_id):
    return running.run_household(firm_id=firm_id, household_id=book.household(firm_id))


def add_paper(file):
    """The first unsupported draw gets a paper."""
    for use in file["uses"]:
        for split in use["splits"]:
            if split["use"] == "income-investment" and not split.get("evidence"):
                split["evidence"] = ["found-later"]


def restate_march(file):
    """The bank corrects the limit on the line's statement of March."""
    statement = next(
        one
        for one in file["statements"]
        if one["ends"] == "2025-03-31" and one["account"] == file["lines"][0]["ref"]
    )
    statement["limit"] = "123.00"


def states(firm_id):
    return [(f"{one.month:%m}", one.version, one.state) for one in book.rows(firm_id)]


def test_a_restated_statement_marks_its_month_and_the_later_ones(firm):
    book.load(firm, book.edited(PAPERS, restate_march), reason="the bank restated March")
    marked = {f"{one.month:%m}": one.stale_reason for one in book.rows(firm)}
    assert marked == {
        f"{number:02d}": "the bank restated March" if number >= 3 else "" for number in range(1, 9)
    }


def test_a_marked_month_gets_a_new_version_with_the_reason_and_keeps_the_old(firm):
    before = {one.pk: (one.result, one.result_digest) for one in book.rows(firm)}
    book.load(firm, book.edited(PAPERS, restate_march), reason="the bank restated March")
    close(firm)
    assert states(firm)[:2] == [("01", 1, "done"), ("02", 1, "done")]
    for number in range(3, 9):
        month = f"{number:02d}"
        assert (month, 1, "superseded") in states(firm)
        assert (month, 2, "done") in states(firm)
    for one in book.rows(firm):
        assert one.stale_reason == ""
        if one.pk in before:
            assert (one.result, one.result_digest) == before[one.pk]
        else:
            assert one.reason == "the bank restated March"


def test_a_close_is_running_again_until_its_new_version_is_done(firm):
    book.load(firm, book.edited(PAPERS, restate_march), reason="restated")
    seen = []

    def progress(_outcome):
        with firm_scope(firm):
            seen.append(MonthClose.objects.get(month=date(2025, 8, 1)).state)

    running.run_household(firm_id=firm, household_id=book.household(firm), progress=progress)
    assert seen[0] == "running"
    assert seen[-1] == "complete"


def test_facts_that_change_nothing_up_to_a_month_keep_its_row(firm):
    with firm_scope(firm):
        staleness.mark_stale(
            household_id=book.household(firm), month=date(2025, 5, 20), reason="looked again"
        )
    assert close(firm) == ()
    assert states(firm) == [(f"{number:02d}", 1, "done") for number in range(1, 9)]
    assert {one.stale_reason for one in book.rows(firm)} == {""}


def test_facts_that_return_before_the_close_bring_the_old_row_back(firm):
    book.load(firm, book.edited(PAPERS, restate_march), reason="restated")
    household = book.household(firm)
    run = running._Run(firm, household, running.FAR_AHEAD)
    assert run.renew(recheck=False) is None
    book.load(firm, PAPERS, reason="restated back")
    close(firm)
    assert ("03", 1, "done") in states(firm)
    assert ("03", 2, "superseded") in states(firm)


def test_facts_that_change_under_a_running_close_are_read_again(firm):
    book.load(firm, book.edited(PAPERS, restate_march), reason="restated")
    household = book.household(firm)
    run = running._Run(firm, household, running.FAR_AHEAD)
    assert run.renew(recheck=False) is None
    with firm_scope(firm):
        claim = claiming.claim_next(household, running.FAR_AHEAD)
    kept = run._compute(claim)
    book.load(firm, book.edited(PAPERS, add_paper), reason="a paper turned up")
    with pytest.raises(claiming.LostLeaseError), firm_scope(firm):
        running.write(claim, kept, firm_id=firm)
    close(firm)
    twin = book.firm_of("Alder Point", book.edited(PAPERS, add_paper))
    book.schedule(twin, *MONTHS)
    close(twin)
    current = [one.result_digest for one in book.rows(firm) if one.state == "done"]
    assert current == [one.result_digest for one in book.rows(twin)]


def test_late_statements_end_where_timely_ones_do():
    firm = book.firm_of("Lantern Ridge", book.cut(PAPERS, "2025-04"))
    book.schedule(firm, *MONTHS)
    close(firm)
    book.load(firm, PAPERS, reason="the rest arrived")
    close(firm)
    timely = book.firm_of("Alder Point", PAPERS)
    book.schedule(timely, *MONTHS)
    close(timely)
    assert [one.result_digest for one in book.rows(firm) if one.state == "done"] == [
        one.result_digest for one in book.rows(timely)
    ]

    def listed(firm_id):
        with firm_scope(firm_id):
            rows = Finding.objects.exclude(events__kind__in=("withdrawn", "mended"))
            return sorted(
                rows.values_list(
                    "code", "key", "first_month", "last_month", "dollars_cents", "open"
                )
            )

    assert listed(firm) == listed(timely)


def test_a_finding_that_a_late_paper_ends_is_mended_and_stays_on_record(firm):
    with firm_scope(firm):
        assert Finding.objects.filter(code="unsupported-draw", open=True).exists()
    book.load(firm, book.edited(PAPERS, add_paper), reason="a paper turned up")
    close(firm)
    with firm_scope(firm):
        row = Finding.objects.filter(code="unsupported-draw", events__kind="mended").first()
        assert row is not None
        kinds = list(
            FindingEvent.objects.filter(finding=row)
            .order_by("number")
            .values_list("kind", flat=True)
        )
    assert kinds[0] == "opened"
    assert kinds[-1] == "mended"


def test_corrected_facts_try_a_parked_month_again():
    other = book.firm_of("Alder Point", PAPERS)
    book.schedule(other, "2025-08")
    book.bend(other, "UPDATE ledger_householdmonth SET state = 'parked', attempt = 5")
    book.load(other, book.edited(PAPERS, add_paper), reason="corrected")
    assert (book.row(other, "2025-08").state, book.row(other, "2025-08").attempt) == ("pending", 0)
    close(other)
    assert book.row(other, "2025-08").state == "done"


def test_a_person_has_a_parked_month_tried_again():
    other = book.firm_of("Alder Point", PAPERS)
    book.schedule(other, "2025-08")
    book.bend(other, "UPDATE ledger_householdmonth SET state = 'parked', attempt = 5")
    access = Access.system(other, "test")
    household = book.household(other)
    with access.opened():
        assert scheduling.release_parked(
            access=access, household_id=household, month=date(2025, 8, 1)
        )
        assert not scheduling.release_parked(
            access=access, household_id=household, month=date(2025, 8, 1)
        )
    close(other)
    assert book.row(other, "2025-08").state == "done"


def test_a_corrected_household_that_cannot_be_read_keeps_its_results_and_the_error(firm):
    book.load(firm, book.edited(PAPERS, restate_march), reason="restated")
    book.put_thresholds(firm, {"no_such_threshold": 1})
    outcome = close(firm)
    assert [one.state for one in outcome] == ["failed"]
    found = book.row(firm, "2025-03")
    assert (found.state, found.version, found.stale_reason) == ("done", 1, "restated")
    assert "no_such_threshold" in found.error
    book.put_thresholds(firm, {})
    close(firm)
    assert (book.row(firm, "2025-03").version, book.row(firm, "2025-03").error) == (2, "")
