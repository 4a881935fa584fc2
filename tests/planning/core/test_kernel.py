"""The plan of a whole book against the plan of one household, cent by cent.

`TOWPATH_KERNEL_SEEDS` plays more random households than the usual ones.
"""

from __future__ import annotations

import os
import random
from collections import Counter
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import numpy as np
import pytest

from config.problems import BadInput
from planning.core.kernel import exact
from planning.core.kernel.book import BookResult, Part, plan_book
from planning.core.kernel.family import outside
from planning.core.kernel.loading import load
from planning.core.money import prorate, round_ratio
from planning.core.plan import run_plan
from planning.core.plan_types import ROW_KEYS, OpeningClasses
from planning.core.types import Evidence, Extra, Household, Plan, Renewal, Split, Term, Use
from tests.planning.core.test_plan_against_naive import random_household

SEEDS = int(os.environ.get("TOWPATH_KERNEL_SEEDS", "2700"))
MONTHS_A_SEED = 38  # over 100,000 months in all
PERCENT = Decimal("0.0001")


def varied_household(seed: int) -> Household:
    """A random household paid monthly, with what the plan's own test does not vary."""
    dice = random.Random(f"kernel {seed}")
    household = random_household(seed)
    plan = household.plan
    assert plan is not None
    facility = replace(
        household.facility,
        capitalised_interest=dice.choice(("compounding", "compounding", "paid-by-advance")),
        interest_method=dice.choice(("paid", "paid", "payable")),
    )
    mortgage = replace(household.mortgages[0], frequency="monthly")
    if dice.random() < 0.5:
        first = plan.starts - timedelta(days=dice.choice((0, 0, 20, 100, 700)))
        term = replace(mortgage.terms[0], starts=first - timedelta(days=31))
        mortgage = replace(mortgage, first_payment=first, terms=(term,))
    if dice.random() < 0.4:
        mortgage = replace(mortgage, terms=_terms(dice, mortgage.terms[0]))
    household = replace(household, facility=facility, mortgages=(mortgage,))
    return replace(
        household, plan=_plan(dice, plan), uses=_uses(dice, household, dict(plan.opening))
    )


def _terms(dice: random.Random, first: Term) -> tuple[Term, ...]:
    stated = dice.choice((None, 250_000, 900_000))
    end = first.matures + timedelta(days=dice.randrange(1, 500))
    rate = dice.randrange(100, 700) * PERCENT
    return first, Term(first.matures, end, "fixed", rate, None, stated)


def _plan(dice: random.Random, plan: Plan) -> Plan:
    starts = plan.starts
    days = sorted(dice.sample(range(2, 1700), dice.randrange(0, 4)))
    extras = tuple(
        Extra(starts + timedelta(days=day), dice.randrange(1, 4_000_000)) for day in days
    )
    steps = tuple(
        (starts + timedelta(days=day), dice.randrange(200, 800) * PERCENT)
        for day in sorted(dice.sample(range(1, 1800), dice.randrange(0, 6)))
    )
    reborrow = plan.reborrow
    assert reborrow is not None
    opening_draw = dice.choice((0, 0, dice.randrange(1, 300_000)))
    renewals = (
        *plan.renewals,
        Renewal("mtg", starts + timedelta(days=dice.randrange(0, 1700)), Decimal("0.0475")),
    )
    invests = plan.refund == "invest"
    return replace(
        plan,
        months=dice.choice((60, 60, 48)),
        extras=extras if dice.random() < 0.7 else plan.extras,
        prime=steps or plan.prime,
        renewals=dice.choice((renewals, plan.renewals, ())),
        reborrow=replace(reborrow, opening_draw_cents=opening_draw)
        if invests or dice.random() < 0.9
        else None,
        investment=replace(
            plan.investment,
            growth_annual=dice.choice((Decimal(0), plan.investment.growth_annual)),
        ),
    )


def _uses(dice: random.Random, household: Household, opening: dict[str, int]) -> tuple[Use, ...]:
    """Sometimes the line's opening balance has been put to a known use, or to several."""
    owed = opening.get("line", 0)
    if not owed or dice.random() < 0.4:
        return household.uses
    paper = (Evidence("slip", None),)
    part = owed if dice.random() < 0.6 else owed // 3
    splits = [Split(part, "income-investment", "inv", None, paper)]
    if part < owed:
        splits.append(
            Split(owed - part, dice.choice(("personal", "rental-expense")), None, None, ())
        )
    return (Use("line-opening", tuple(splits)),)


def differences(households: list[Household], result: BookResult) -> list[str]:
    """Every household whose rows differ from the scalar engine's, with its first difference."""
    found = []
    for place, household in enumerate(households):
        try:
            rows = run_plan(household).rows
        except BadInput as error:
            if result.refused.get(place) != tuple(error.problems):
                found.append(f"{household.ref}: problems")
            continue
        kept = {key: column[: len(rows), place].tolist() for key, column in result.kept.items()}
        for month, row in enumerate(rows):
            wrong = [key for key in ROW_KEYS if getattr(row, key) != kept[key][month]]
            if wrong:
                found.append(f"{household.ref} {row.month}: {wrong}")
                break
        for key, column in result.closing.items():
            if int(column[place]) != getattr(rows[-1], key):
                found.append(f"{household.ref}: closing {key}")
        for key, column in result.totals.items():
            if int(column[place]) != sum(getattr(row, key) for row in rows):
                found.append(f"{household.ref}: total {key}")
    return found


def test_the_book_agrees_to_the_cent_with_every_household() -> None:
    households = [varied_household(seed) for seed in range(SEEDS)]
    result = plan_book(households, keep=ROW_KEYS)
    by_arrays = set(range(SEEDS)) - set(result.scalar) - set(result.refused)
    # The comparison must not be of the scalar engine with itself.
    months = sum(plan.months for place in by_arrays if (plan := households[place].plan))
    assert months > SEEDS * MONTHS_A_SEED
    assert differences(households, result) == []


def test_the_random_households_reach_every_choice() -> None:
    households = [varied_household(seed) for seed in range(300)]
    table = load([one for one in households if outside(one) is None])
    for name in ("mode", "rule", "route", "refund_to"):
        assert set(table.column(name).tolist()) == {0, 1, 2}, name
    for name in ("simple", "actual", "mixed", "returns", "whole_share", "falls"):
        assert set(table.column(name).tolist()) == {0, 1}, name
    assert (table.column("linked") > 0).any()
    assert (table.column("first") < table.column("start")).any()
    assert (table.column("pay_day") == 1).any()
    assert {bool(row[3]) for row in table.changes} == {True, False}
    assert len(table.steps) > 50
    assert len(table.extras) > 50
    reasons = Counter(outside(one) for one in households)
    assert reasons["compound interest deducted apart"] > 0
    assert reasons["two changes of prime between two postings"] > 0


def test_households_outside_the_family_are_answered_all_the_same() -> None:
    households = [random_household(seed) for seed in range(60)]
    reasons = Counter(outside(one) for one in households)
    assert reasons["payments are not monthly"] > 20
    result = plan_book(households, keep=ROW_KEYS)
    assert differences(households, result) == []
    assert len(result.scalar) >= reasons["payments are not monthly"]


def test_a_household_that_cannot_be_played_spoils_no_other() -> None:
    households = [varied_household(seed) for seed in range(30)]
    plan = households[7].plan
    assert plan is not None
    households[7] = replace(households[7], plan=replace(plan, opening=()))
    households[9] = replace(households[9], plan=None)
    result = plan_book(households, keep=ROW_KEYS)
    assert 7 in result.refused
    assert result.refused[7][0].where == "plan.opening.mtg"
    assert not result.totals["interest"][[7, 9]].any()
    others = [place for place in range(30) if place not in {7, 9}]
    unplayed = {place for place in others if not result.totals["interest"][place]}
    assert unplayed == set(result.refused) - {7}


def test_scenarios_of_one_household_are_a_book() -> None:
    household = varied_household(4)
    plan = household.plan
    assert plan is not None
    scenarios = [
        replace(household, plan=replace(plan, prime=tuple((d, r + shift) for d, r in plan.prime)))
        for shift in (Decimal(step) / 400 for step in range(12))
    ]
    result = plan_book(scenarios, keep=ROW_KEYS)
    assert not result.scalar
    assert differences(scenarios, result) == []
    assert np.all(np.diff(result.totals["line_interest"]) > 0)


def test_months_are_handed_out_block_by_block_and_not_kept() -> None:
    households = [varied_household(seed) for seed in range(40)]
    whole = plan_book(households, keep=("deductible", "room"))
    parts: list[Part] = []
    streamed = plan_book(households, keep=("deductible", "room"), receive=parts.append)
    assert streamed.kept == {}
    assert len(parts) > 1
    seen = sorted(place for part in parts for place in part.places.tolist())
    assert seen == [place for place in range(40) if place not in whole.refused or place in seen]
    for part in parts:
        for key in ("deductible", "room"):
            months = part.kept[key].shape[0]
            assert np.array_equal(part.kept[key], whole.kept[key][:months, part.places])
    for key, column in whole.totals.items():
        assert np.array_equal(column, streamed.totals[key])


def test_the_order_of_the_book_does_not_matter() -> None:
    households = [varied_household(seed) for seed in range(60)]
    there = plan_book(households).totals["deductible"]
    back = plan_book(households[::-1]).totals["deductible"]
    assert np.array_equal(there, back[::-1])


def test_traced_openings_are_taken_as_by_one_household() -> None:
    households, openings = [], []
    for seed in range(120):
        household = varied_household(seed)
        assert household.plan is not None
        owed = dict(household.plan.opening)["line"]
        parts = owed // 2, owed // 5, owed - owed // 2 - owed // 5
        households.append(household)
        targets = (("inv", owed // 3), ("business", owed // 10))
        openings.append({"line": OpeningClasses(*parts, targets)} if seed % 2 else None)
    result = plan_book(households, openings=openings, keep=ROW_KEYS)
    assert len(result.scalar) < 40
    differing = 0
    for place, household in enumerate(households):
        if place in result.refused:
            continue
        rows = run_plan(household, openings[place]).rows
        for key in ROW_KEYS:
            expected = [getattr(row, key) for row in rows]
            assert expected == result.kept[key][: len(rows), place].tolist(), (place, key)
        differing += rows != run_plan(household).rows
    assert differing > 10


def test_balances_that_outgrow_the_arrays_are_still_right() -> None:
    households = []
    for seed in range(40):
        household = varied_household(seed)
        plan = household.plan
        assert plan is not None
        opening = {**dict(plan.opening), "inv": 2**29 - 1 - seed}
        growth = replace(plan.investment, growth_annual=Decimal("0.49"))
        plan = replace(plan, opening=tuple(opening.items()), investment=growth, months=120)
        households.append(replace(household, plan=plan))
    result = plan_book(households, keep=ROW_KEYS)
    left = [place for place in result.scalar if outside(households[place]) is None]
    assert len(left) > 10
    assert differences(households, result) == []


# -- rounding -------------------------------------------------------------------------------


@pytest.mark.parametrize("denominator", [exact.SHORT, exact.MONTHLY, exact.FIXED, exact.PAYMENT])
def test_a_rate_rounds_as_whole_numbers_do(denominator: int) -> None:
    dice = random.Random(denominator)
    amounts = [dice.randrange(0, exact.LARGEST) for _ in range(3000)]
    rates = [dice.randrange(0, denominator // 10) for _ in range(3000)]
    # Ties: half a cent exactly, and one unit of the numerator beside it.
    for offset in (-1, 0, 1):
        amounts += [1, 3, 5]
        rates += [denominator // 2 + offset] * 3
    for cut_off in (False, True):
        rate = exact.Rate(np.array(rates), denominator, cut_off=cut_off)
        found = rate.times(np.array(amounts)).tolist()
        assert found == [
            round_ratio(amount * part, denominator)
            for amount, part in zip(amounts, rates, strict=True)
        ]


def test_short_rates_are_divided_as_they_are() -> None:
    quoted = np.array([250, 545, 1000]) * (exact.SHORT // 10_000)
    rate = exact.Rate(quoted, exact.MONTHLY)
    assert rate.fits
    # 2.5% of a year on 10,020.00 is 20.875 a month; halves go up.
    assert rate.times(np.array([1_002_000, 24_000, 600])).tolist() == [2088, 109, 5]


def test_a_quotient_in_floats_rounds_as_whole_numbers_do() -> None:
    dice = random.Random(11)
    for denominator in (2, 120_000, 365 * 10**6):
        # Around ties and whole quotients, up to the bound of exact sums.
        quotients = [dice.randrange(0, min(2**30, exact.EXACT // denominator)) for _ in range(999)]
        sums = [
            one * denominator + part + offset
            for one in quotients
            for part in (denominator, denominator // 2)
            for offset in (-1, 0)
        ]
        sums = [one for one in sums if one + denominator // 2 < exact.EXACT]
        found = exact.halved_up(np.array(sums, dtype=np.float64), denominator // 2, denominator)
        assert found.tolist() == [round_ratio(one, denominator) for one in sums]


def test_a_rounding_that_a_cut_off_rate_cannot_decide_is_noticed() -> None:
    # Just below half a cent, clearly below, and exactly half.
    rate = exact.Rate(np.array([2**60 - 1, 2**59, 2**60]), exact.FIXED, cut_off=True)
    assert rate.times(np.array([1, 1, 1])).tolist() == [0, 0, 1]
    assert rate.doubt.tolist() == [True, False, False]


def test_signed_amounts_round_away_from_zero() -> None:
    values = [-15, -5, -4, 0, 4, 5, 15]
    assert exact.divided_signed(np.array(values), 10).tolist() == [-2, -1, 0, 0, 0, 1, 2]


def test_sharing_out_by_columns_is_sharing_out() -> None:
    dice = random.Random(5)
    rows = [
        (dice.randrange(0, 10**7), *(dice.choice((0, 1, dice.randrange(1, 2**54))) for _ in "abc"))
        for _ in range(4000)
    ]
    rows += [(amount, 1, 1, 1) for amount in range(6)]
    rows = [row for row in rows if any(row[1:])]
    columns = [np.array(column) for column in zip(*rows, strict=True)]
    found = list(zip(*(part.tolist() for part in exact.prorate3(*columns)), strict=True))
    assert found == [prorate(row[0], row[1:]) for row in rows]
