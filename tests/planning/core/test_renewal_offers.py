"""Renewal offers: the baseline is the plan in force, and each offer is a plan of its own."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from planning.core.comparison import comparison
from planning.core.household_file import read_household
from planning.core.money import cents_from_text
from planning.core.plan import run_plan
from planning.core.plan_outcome import differences, outcome
from planning.core.renewal_offers import Offer, compare_offers, offer_refusals, planned, with_offer
from planning.core.types import Renewal
from planning.core.whatif import Change, changed
from planning.core.whatif_refusals import Refused

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
D = Decimal
ON = date(2030, 1, 1)
FIXED = Offer("Fixed", "fixed", 3, rate=D("0.0445"))
ADJUSTABLE = Offer("Adjustable", "adjustable", 3, spread=D("-0.0060"))
STATIC = Offer("Static", "static", 2, spread=D("-0.0070"))
STATED = Offer("Stated", "fixed", 4, rate=D("0.0445"), payment_cents=3100_00)


@pytest.fixture(scope="module")
def household():
    return read_household((SAMPLES / "plan-only.json").read_text("utf-8"), "plan-only.json")


@pytest.fixture(scope="module")
def compared(household):
    return compare_offers(household, "mtg", ON, (FIXED, ADJUSTABLE, STATIC, STATED))


def test_the_baseline_is_the_plan_in_force(household, compared):
    assert compared.baseline.outcome.result == run_plan(household)
    assert compared.baseline.rate == D("0.0489")
    assert compared.baseline.own == compared.baseline.shared


def test_a_fixed_offer_is_a_change_of_the_rate_at_renewal(household, compared):
    after = changed(household, Change(since=date(2027, 1, 1), rate_at_renewal=D("0.0445")))
    assert compared.offers[0].outcome.result == run_plan(after)
    assert planned(household, "mtg", ON, FIXED) == after.plan


def test_windows_add_up_from_rows_and_payments(compared):
    assert compared.shared_years == 2
    for one in (compared.baseline, *compared.offers):
        rows = [row for row in one.outcome.result.rows if "2030-02" <= row.month <= "2032-01"]
        assert one.shared.months == len(rows) == 24
        assert one.shared.interest == sum(row.interest for row in rows)
        assert one.shared.principal == sum(row.principal for row in rows)
        assert one.shared.deductible == sum(row.deductible for row in rows)
        assert one.shared.room_freed == sum(row.room_freed for row in rows)
        assert one.shared.mortgage_left == rows[-1].mortgage_closing
        assert (one.shared.line, one.shared.eligible) == (rows[-1].line_closing, rows[-1].eligible)
        assert one.first_year == sum(row.principal for row in rows[:12])
        assert one.payment == rows[0].payment
    assert [one.own.months for one in compared.offers] == [36, 36, 24, 48]


def test_every_kind_has_its_rate_and_payment(household, compared):
    fixed, adjustable, static, stated = compared.offers
    prime = run_plan(household).rows and D("0.0520")
    assert (fixed.rate, stated.rate) == (D("0.0445"), D("0.0445"))
    assert adjustable.rate == prime - D("0.0060")
    assert static.rate == prime - D("0.0070")
    assert stated.payment == 3100_00
    assert fixed.payment < adjustable.payment < compared.baseline.payment
    assert stated.shared.principal > fixed.shared.principal
    assert stated.shared.room_freed > fixed.shared.room_freed


def test_nothing_before_the_renewal_moves(compared):
    before = [row for row in compared.baseline.outcome.result.rows if row.month <= "2030-01"]
    for one in compared.offers:
        assert list(one.outcome.result.rows[: len(before)]) == before


def test_renewals_planned_inside_the_term_give_way(household):
    years = (2030, 2032, 2033)
    held = tuple(Renewal("mtg", date(year, 1, 1), D("0.07")) for year in years)
    busy = replace(household, plan=replace(household.plan, renewals=held))
    assert with_offer(busy, "mtg", ON, FIXED).plan.renewals == (
        Renewal("mtg", ON, D("0.0445")),
        held[2],
    )
    variable = with_offer(busy, "mtg", ON, ADJUSTABLE)
    assert variable.plan.renewals == held[2:]
    assert [term.kind for term in variable.mortgages[0].terms] == ["fixed", "adjustable"]


def test_an_early_renewal_ends_the_term_on_file(household):
    early = date(2028, 6, 1)
    tried = with_offer(household, "mtg", early, ADJUSTABLE)
    assert [term.matures for term in tried.mortgages[0].terms] == [early, date(2031, 6, 1)]
    paid = {one.date: one.rate for one in run_plan(tried).payments if one.payment}
    assert paid[early] == D("0.0489")
    assert paid[date(2028, 7, 1)] == D("0.0460")


def test_a_term_beyond_the_plan_is_counted_as_far_as_it_goes(household):
    found = compare_offers(household, "mtg", ON, (replace(FIXED, years=7),))
    assert found.offers[0].own.months == 59


@pytest.mark.parametrize(
    ("offers", "on", "found"),
    [
        ((), ON, ("offers", "no-offer")),
        ((FIXED,) * 5, ON, ("offers", "too-many")),
        ((replace(FIXED, rate=D("1.5")),), ON, ("offers[0].rate", "outside")),
        ((replace(FIXED, rate=None),), ON, ("offers[0].rate", "outside")),
        ((FIXED, replace(ADJUSTABLE, spread=D("-0.5"))), ON, ("offers[1].rate", "outside")),
        ((replace(ADJUSTABLE, spread=D("-0.06")),), ON, ("offers[0].rate", "outside")),
        ((replace(FIXED, years=0),), ON, ("offers[0].years", "term-outside")),
        ((replace(STATED, payment_cents=0),), ON, ("offers[0].payment", "not-positive")),
        ((FIXED,), date(2024, 1, 1), ("on", "outside-plan")),
        ((FIXED,), date(2060, 1, 1), ("on", "outside-plan")),
    ],
)
def test_offers_that_make_no_sense_are_refused(household, offers, on, found):
    refused = offer_refusals(household, "mtg", on, offers)
    assert [(one.where, one.code) for one in refused] == [found]
    with pytest.raises(Refused):
        compare_offers(household, "mtg", on, offers)


def test_a_payment_below_the_interest_is_refused(household):
    low = replace(STATED, payment_cents=100_00)
    with pytest.raises(Refused) as error:
        compare_offers(household, "mtg", ON, (FIXED, low))
    assert [(one.where, one.code) for one in error.value.refusals] == [
        ("offers[1].payment", "payment-low")
    ]


@pytest.mark.parametrize("offer", [ADJUSTABLE, STATIC, STATED])
def test_only_a_renewal_can_be_kept(household, offer):
    with pytest.raises(Refused, match="only a fixed rate"):
        planned(household, "mtg", ON, offer)


def test_the_figures_are_those_of_rows_and_comparison(household):
    found = outcome(household)
    result = run_plan(household)
    worth = comparison(household, result, break_even=False)
    assert found.figures.deductible == sum(row.deductible for row in result.rows)
    assert found.figures.interest_paid == sum(
        row.interest + row.line_interest_paid for row in result.rows
    )
    assert found.figures.tax_saving == sum(year.saving for year in result.years)
    assert found.figures.net_worth == cents_from_text(worth["plan"]["net_worth_after_tax"])
    assert [one.name for one in found.cases] == ["base", "returns", "rates", "both"]
    both = worth["loss_cases"]["both"]["plan"]["net_worth_after_tax"]
    assert found.cases[3].plan == cents_from_text(both)
    assert set(differences(found.figures, found.figures).values()) == {0}
    assert found.figures.mortgage_ends is None


def test_a_paid_off_mortgage_names_its_last_day(household):
    short = replace(
        household, plan=replace(household.plan, opening=(("mtg", 1000000), ("line", 0), ("inv", 0)))
    )
    found = outcome(short).figures
    assert found.mortgage_left == 0
    assert f"{found.mortgage_ends:%Y-%m}" == found.conversion
