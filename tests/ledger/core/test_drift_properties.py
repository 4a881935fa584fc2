"""Doing what the plan says leaves nothing to find; what differs is explained to the cent."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ledger.core.close import Closing, evaluate, latest_month
from ledger.core.replay import CAUSES
from planning.core.household_file import household_from_json
from planning.core.types import Household
from tests.examples import examples
from tests.ledger.core.followed_plan import bent, followed, planned

EXCUSED = {
    "tax-benefit-dominates": "measures the plan itself, whoever follows it",
    "renewal-due": "the contract's calendar: the next term is not the household's to know yet",
    "renewal-passed": "the contract's calendar, once the term is over and no other is on file",
}


@settings(deadline=None, max_examples=examples(12), suppress_health_check=list(HealthCheck))
@given(planned())
def test_a_household_that_does_what_its_plan_says_has_no_drift(plan_of: Household) -> None:
    """P18: no finding but those that say nothing of what was done, and no difference at all."""
    report = evaluate(household_from_json(followed(plan_of), "followed.json"))
    assert {run.finding.code for run in report.runs} <= set(EXCUSED)
    assert all(
        run.finding.severity == "note"
        for run in report.runs
        if run.finding.code == "tax-benefit-dominates"
    )
    assert len(report.closes) == len(report.plan.rows)
    for month in report.closes:
        assert not any(month.variance.values()), month.month
        assert not any(cents for one in month.attribution.values() for cents in one.values())
        assert month.actual == month.plan


@settings(deadline=None, max_examples=examples(8), suppress_health_check=list(HealthCheck))
@given(planned(), st.data())
def test_the_causes_of_a_difference_sum_to_the_difference(
    plan_of: Household, data: st.DataObject
) -> None:
    """P19: for every measure of every month, whatever went otherwise than planned."""
    file = data.draw(st.composite(lambda draw: bent(followed(plan_of), draw))())
    closing = Closing(household_from_json(file, "bent.json"))
    through = latest_month(closing.household)
    assert through is not None
    planned_to_date: dict[str, int] = {}
    for month, measures in closing.attribution(through).items():
        actual, row = closing.actual(month), closing.plan_rows[month]
        year = month[:4]
        planned_to_date[year] = planned_to_date.get(year, 0) + row.deductible
        gaps = {
            "deductible": actual.deductible - row.deductible,
            "deductible_to_date": closing.deductible_to_date(month) - planned_to_date[year],
            "mortgage": actual.mortgage_closing - row.mortgage_closing,
            "line": actual.line_closing - row.line_closing,
        }
        for measure, gap in gaps.items():
            assert set(measures[measure]) == set(CAUSES)
            assert sum(measures[measure].values()) == gap, (month, measure)
