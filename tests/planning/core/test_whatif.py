"""What if: a change moves the plan it names, from the day it names, and nothing else."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.problems import BadInput
from planning.core.household_file import read_household
from planning.core.json_reader import Faults, Node
from planning.core.plan import run_plan
from planning.core.plan_file import plan_to_json, read_plan
from planning.core.types import YIELD_KINDS, Extra, Household, Renewal
from planning.core.whatif import Change, changed, next_renewal, refusals, scaled_yields
from planning.core.whatif_refusals import REFUSALS, Refused
from tests.planning.core import plan_cases

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
D = Decimal
SINCE = date(2026, 4, 1)


def sample(name: str = "plan-only", months: int = 36) -> Household:
    text = (SAMPLES / f"{name}.json").read_text("utf-8")
    found = read_household(text, f"{name}.json")
    assert found.plan is not None
    return replace(found, plan=replace(found.plan, months=min(months, found.plan.months)))


def rows(household: Household) -> list[object]:
    return list(run_plan(household).rows)


@pytest.mark.parametrize("name", sorted(one.stem for one in SAMPLES.glob("*.json")))
def test_no_change_is_the_same_plan_to_the_cent(name):
    household = sample(name, 400)
    same = changed(household, Change(since=household.plan.starts))
    assert same == household
    assert rows(same) == rows(household)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        (Change(rate_now=D("0.0525"), since=SINCE), "renewals"),
        (Change(prime_shift=D("0.01"), since=SINCE), "prime"),
        (Change(growth=D("0.05")), "investment"),
        (Change(total_yield=D("0.05")), "investment"),
        (Change(share=D("0.5")), "reborrow"),
        (Change(once_cents=1000_00, once_on=SINCE), "extras"),
        (Change(yearly_cents=1000_00, yearly_from=SINCE), "extras"),
        (Change(refund="keep"), "refund"),
    ],
)
def test_each_change_moves_its_own_field_alone(change, field):
    before, after = sample(), changed(sample(), change)
    moved = [
        name
        for name in before.plan.__slots__
        if getattr(before.plan, name) != getattr(after.plan, name)
    ]
    assert moved == [field]
    assert replace(after, plan=before.plan) == before
    assert rows(after) != rows(before)


@pytest.mark.parametrize(
    "change",
    [
        Change(rate_now=D("0.0525")),
        Change(prime_shift=D("0.0125")),
        Change(once_cents=2000_00),
        Change(yearly_cents=2000_00),
    ],
)
def test_what_has_passed_stays_as_it_was_planned(change):
    before = sample()
    after = changed(before, replace(change, since=SINCE))
    cut = [row.month for row in run_plan(before).rows].index("2026-04")
    assert rows(after)[:cut] == rows(before)[:cut]
    assert rows(after)[cut + 1 :] != rows(before)[cut + 1 :]


def test_a_rate_now_holds_after_the_payment_on_the_day():
    after = run_plan(changed(sample(), Change(since=SINCE, rate_now=D("0.06"))))
    rates = {one.date: one.rate for one in after.payments if one.payment}
    assert rates[date(2026, 4, 1)] == D("0.0489")
    assert rates[date(2026, 5, 1)] == D("0.06")


def test_the_next_renewal_is_the_plans_or_the_last_terms_end():
    household = sample(months=120)
    mortgage = household.mortgages[0]
    assert next_renewal(household, mortgage, SINCE) == date(2030, 1, 1)
    planned = Renewal("mtg", date(2028, 1, 1), D("0.04"))
    earlier = replace(household, plan=replace(household.plan, renewals=(planned,)))
    assert next_renewal(earlier, mortgage, SINCE) == date(2028, 1, 1)
    assert next_renewal(household, mortgage, date(2031, 1, 1)) is None


def test_a_rate_at_renewal_takes_the_place_of_the_one_planned_that_day():
    household = sample(months=120)
    planned = tuple(Renewal("mtg", date(year, 1, 1), D("0.04")) for year in (2030, 2033))
    household = replace(household, plan=replace(household.plan, renewals=planned))
    after = changed(household, Change(since=SINCE, rate_at_renewal=D("0.0555")))
    assert after.plan.renewals == (Renewal("mtg", date(2030, 1, 1), D("0.0555")), planned[1])


def test_a_rate_now_and_one_at_renewal_on_one_day_are_two_renewals():
    household = sample(months=120)
    planned = tuple(Renewal("mtg", date(year, 1, 1), D("0.04")) for year in (2030, 2033))
    household = replace(household, plan=replace(household.plan, renewals=planned))
    both = Change(since=date(2030, 1, 1), rate_now=D("0.05"), rate_at_renewal=D("0.06"))
    after = changed(household, both).plan.renewals
    assert [(one.on.year, one.rate_annual) for one in after] == [
        (2030, D("0.05")),
        (2033, D("0.06")),
    ]


def test_prime_moves_from_the_day_and_keeps_its_later_steps():
    household = replace(
        sample(), prime=((date(2024, 1, 1), D("0.05")), (date(2026, 9, 1), D("0.045")))
    )
    household = replace(household, plan=replace(household.plan, prime=()))
    after = changed(household, Change(since=SINCE, prime_shift=D("-0.0025")))
    assert after.plan.prime == (
        (date(2024, 1, 1), D("0.05")),
        (SINCE, D("0.0475")),
        (date(2026, 9, 1), D("0.0425")),
    )


def test_extra_prepayments_come_on_top_and_every_year():
    after = changed(
        sample(), Change(once_cents=500_00, once_on=SINCE, yearly_cents=300_00, since=SINCE)
    )
    assert after.plan.extras[len(sample().plan.extras) :] == (
        Extra(SINCE, 500_00),
        Extra(date(2026, 4, 1), 300_00),
        Extra(date(2027, 4, 1), 300_00),
    )


@given(
    total=st.decimals("0", "1", places=4),
    weights=st.lists(st.decimals("0", "0.2", places=4), min_size=6, max_size=6),
)
def test_yields_add_up_and_keep_their_order(total, weights):
    before = tuple(zip(YIELD_KINDS, weights, strict=True))
    after = scaled_yields(before, total)
    assert sum(rate for _, rate in after) == total
    assert [kind for kind, _ in after] == list(YIELD_KINDS)
    assert all(rate >= 0 for _, rate in after)
    if total == sum(weights):
        assert after == before


CHANGES = st.builds(
    Change,
    since=st.dates(date(2025, 1, 1), date(2026, 12, 31)),
    rate_now=st.none() | st.decimals("0.001", "0.15", places=4),
    prime_shift=st.none() | st.decimals("-0.02", "0.05", places=4),
    growth=st.none() | st.decimals("-0.5", "0.5", places=4),
    total_yield=st.none() | st.decimals("0", "0.2", places=4),
    share=st.none() | st.decimals("0", "1", places=2),
    once_cents=st.none() | st.integers(1, 100_000_00),
    yearly_cents=st.none() | st.integers(1, 50_000_00),
    refund=st.none() | st.sampled_from(("prepay", "invest", "keep")),
)


@settings(max_examples=40, deadline=None)
@given(change=CHANGES)
def test_a_changed_plan_runs_reads_back_and_its_rows_add_up(change):
    after = changed(sample(months=24), change)
    text = json.dumps(plan_to_json(after.plan))
    faults = Faults("plan")
    assert read_plan(Node(json.loads(text), "plan", faults)) == after.plan
    faults.stop_if_any()
    for row in run_plan(after).rows:
        assert row.payment == row.interest + row.principal
        assert row.mortgage_closing == row.mortgage_opening - row.principal - row.prepayment
        assert row.eligible + row.unsupported + row.ineligible == row.line_closing
        paid = row.draw + row.interest_draw + row.dam_draw + row.line_interest
        assert row.line_closing == row.line_opening + paid - row.line_interest_paid


@pytest.mark.parametrize(
    ("change", "found"),
    [
        (Change(rate_now=D("1.01")), ("rate_now", "outside")),
        (Change(rate_now=D("-0.01")), ("rate_now", "outside")),
        (Change(rate_at_renewal=D(2)), ("rate_at_renewal", "outside")),
        (Change(growth=D(-1)), ("growth", "outside")),
        (Change(growth=D("-1.5")), ("growth", "outside")),
        (Change(total_yield=D("-0.01")), ("total_yield", "outside")),
        (Change(share=D("1.01")), ("share", "outside")),
        (Change(share=D("-0.01")), ("share", "outside")),
        (Change(prime_shift=D("-0.20")), ("prime_shift", "prime-outside")),
        (Change(prime_shift=D(1)), ("prime_shift", "prime-outside")),
        (Change(since=date(2024, 12, 31)), ("since", "outside-plan")),
        (Change(once_cents=1, once_on=date(2050, 1, 1)), ("once_on", "outside-plan")),
        (Change(yearly_cents=1, yearly_from=date(2020, 1, 1)), ("yearly_from", "outside-plan")),
        (Change(once_cents=0), ("once", "not-positive")),
        (Change(yearly_cents=-5), ("yearly", "not-positive")),
        (Change(rate_now=D("0.05"), mortgage="no"), ("mortgage", "no-mortgage")),
        (Change(refund="burn"), ("refund", "refund-unknown")),
    ],
)
def test_values_that_make_no_sense_are_refused(change, found):
    refused = refusals(sample(months=120), change)
    assert [(one.where, one.code) for one in refused] == [found]
    with pytest.raises(Refused) as error:
        changed(sample(months=120), change, "alder.json")
    (problem,) = error.value.problems
    assert (problem.file, problem.where) == ("alder.json", found[0])
    assert "{" not in problem.message + problem.remedy


def test_all_refusals_come_at_once():
    several = Change(rate_now=D(9), growth=D(-9), share=D(9), once_cents=-1)
    assert len(refusals(sample(months=120), several)) == 4


def test_a_plan_without_reborrowing_cannot_share_or_invest():
    household = plan_cases.household({"plan.reborrow": None})
    refused = refusals(household, Change(share=D("0.5"), refund="invest"))
    assert [one.code for one in refused] == ["no-reborrow", "no-account"]


def test_no_plan_no_renewal_no_prime():
    assert refusals(replace(sample(), plan=None), Change())[0].code == "no-plan"
    ahead = Change(rate_at_renewal=D("0.05"))
    assert refusals(sample(months=12), ahead)[0].code == "no-renewal"
    household = plan_cases.household({"prime": [["2025-06-01", "0.05"]]})
    assert refusals(household, Change(prime_shift=D("0.01")))[0].code == "no-prime"


def test_the_changed_plans_own_faults_are_found():
    household = plan_cases.household({"lines.0.spread": "-0.05"})
    with pytest.raises(BadInput, match="below zero"):
        changed(household, Change(prime_shift=D("-0.03")))


def test_every_reason_can_be_said():
    assert all(message and remedy for message, remedy in REFUSALS.values())
