"""The plan beside its alternatives: same cash, loss cases, break-even, purpose figures."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from planning.core.comparison import comparison, gaar_figures
from planning.core.comparison_cases import (
    build_cases,
    effective_rates,
    gain_rate,
    out_of_pocket,
    with_growth,
    with_rate_shock,
    without_reborrowing,
)
from planning.core.flat_tax import flat_saving_cents
from planning.core.money import cents_from_text
from planning.core.plan import run_plan
from planning.core.purpose import PurposeFigures, present_values
from planning.core.types import MarginalRates
from tests.planning.core.plan_cases import household

TEN_YEARS = {
    "plan.months": 120,
    "plan.refund": "prepay",
    "plan.investment": {
        "growth": "0.02", "yields": {"eligible_dividend": "0.03"}, "distributions": "reinvest",
    },
}  # fmt: skip


def compared(change: dict[str, Any], **more: Any) -> dict[str, Any]:
    one = household(TEN_YEARS | change)
    shown: dict[str, Any] = comparison(one, run_plan(one), **more)
    return shown


def test_flat_saving_is_rounded_once() -> None:
    rates = MarginalRates(
        Decimal("0.4341"), (("eligible_dividend", Decimal("0.2538")), ("foreign", Decimal("0.5")))
    )
    income = {"eligible_dividend": 4321, "foreign": 7, "return_of_capital": 10_000}
    exact = Fraction("0.4341") * 999 - Fraction("0.2538") * 4321 - Fraction("0.5") * 7
    assert flat_saving_cents(rates, 999, income) == -667
    assert abs(exact + 667) < 1
    assert flat_saving_cents(MarginalRates(Decimal("0.5"), ()), 1, {}) == 1
    assert flat_saving_cents(MarginalRates(Decimal(0), rates.by_kind), 0, {"foreign": 1}) == -1


def test_purpose_figures_of_one_year() -> None:
    """Computed: 100,000 drawn at 6%, 5% after tax, rate 43%, no discounting.

    Non-tax 5,000 - 6,000 = -1,000; tax 0.43 x 6,000 = 2,580: the tax benefit dominates.
    """
    month = (Fraction(500_000 - 600_000, 12), Fraction("0.43") * 600_000 / 12)
    nontax, tax = present_values([month] * 12, Decimal(0))
    assert (nontax, tax) == (-100_000, 258_000)
    assert PurposeFigures(tax, nontax, Decimal(0)).dominates
    assert not PurposeFigures(tax, tax, Decimal(0)).dominates


def test_discounting_is_monthly_from_the_end_of_each_month() -> None:
    flows = [(Fraction(0), Fraction(0))] * 11 + [(Fraction(10_600), Fraction(21_200))]
    assert present_values(flows, Decimal("0.06")) == (10_000, 20_000)


def test_cash_is_the_same_in_every_case() -> None:
    """What a case pays out and what it saves add up to the same cash, month by month."""
    one = household(TEN_YEARS)
    assert one.plan is not None
    result = run_plan(one)
    cases = build_cases(one, result, effective_rates(one, ""))
    alone = without_reborrowing(one)
    assert alone.plan is not None
    ordinary = run_plan(alone)
    for row, base in zip(result.rows, ordinary.rows, strict=True):
        assert out_of_pocket(base, alone.plan) == base.payment
        taken = row.payment + row.prepayment + row.line_interest_paid - row.refund
        assert out_of_pocket(row, one.plan) == taken
    assert cases.cash_total == sum(
        max(out_of_pocket(row, one.plan), base.payment)
        for row, base in zip(result.rows, ordinary.rows, strict=True)
    )


def test_without_growth_or_tax_prepaying_is_worth_its_interest() -> None:
    """No growth, no yield, no refund: savings are plain cash, prepaying saves 6% interest."""
    flat = {"growth": "0", "yields": {}, "distributions": "reinvest"}
    one = household(
        {"plan.months": 24, "plan.investment": flat, "plan.marginal": {
            "ordinary": "0", "eligible_dividend": "0", "other_dividend": "0", "interest": "0",
            "foreign": "0", "capital_gain": "0"}}
    )  # fmt: skip
    result = run_plan(one)
    cases = build_cases(one, result, effective_rates(one, ""))
    spent = sum(row.line_interest_paid for row in result.rows)
    assert cases.ordinary.savings == spent
    assert cases.plan.savings == 0
    saved = cases.ordinary.mortgage - cases.prepayments.mortgage
    assert saved + cases.prepayments.savings + cases.prepayments.cash > spent
    # Without a return the plan loses exactly what its line cost.
    worth = {name: case.net_worth(Fraction(0))[0] for name, case in (
        ("plan", cases.plan), ("ordinary", cases.ordinary))}  # fmt: skip
    assert worth["plan"] == worth["ordinary"] - spent


def test_the_loss_cases_stand_beside_and_hurt() -> None:
    shown = compared({}, break_even=False)
    assert "break_even" not in shown
    base = cents_from_text(shown["plan"]["net_worth_after_tax"])
    fallen = shown["loss_cases"]["returns"]
    assert cents_from_text(fallen["plan"]["net_worth_after_tax"]) < base
    whole = cents_from_text(shown["plan"]["portfolio"])
    assert cents_from_text(fallen["plan"]["portfolio"]) == whole - round(whole * 0.3)
    lead = cents_from_text(shown["lead_over_prepayments"])
    assert cents_from_text(fallen["lead_over_prepayments"]) < lead
    both = shown["loss_cases"]["both"]
    assert cents_from_text(both["lead_over_prepayments"]) < cents_from_text(
        shown["loss_cases"]["rates"]["lead_over_prepayments"]
    )


def test_a_rate_shock_moves_prime_and_planned_renewals_only() -> None:
    one = household(
        {"plan.prime": [["2025-01-01", "0.05"]],
         "plan.renewals": [{"mortgage": "mtg", "on": "2025-06-01", "rate": "0.04"}]}
    )  # fmt: skip
    dear = with_rate_shock(one, Decimal("0.03"))
    assert dear.plan is not None
    assert dear.plan.prime[0][1] == Decimal("0.08")
    assert dear.prime[0][1] == Decimal("0.0980")
    assert dear.plan.renewals[0].rate_annual == Decimal("0.07")
    assert dear.mortgages == one.mortgages


def test_break_even_growth_makes_plan_and_prepayments_equal() -> None:
    one = household(TEN_YEARS)
    found = Decimal(comparison(one, run_plan(one))["break_even"]["growth"])  # type: ignore[index]
    rates = effective_rates(one, "")

    def lead(growth: Decimal) -> int:
        trial = with_growth(one, growth)
        cases = build_cases(trial, run_plan(trial), rates)
        gains = gain_rate(rates)
        return cases.plan.net_worth(gains)[1] - cases.prepayments.net_worth(gains)[1]

    assert lead(found - Decimal("0.0002")) < 0 < lead(found + Decimal("0.0002"))


def test_no_break_even_when_nothing_is_borrowed() -> None:
    shown = compared({"plan.reborrow": None, "plan.refund": "keep"})
    assert shown["break_even"] == {"growth": None, "total_return": None}
    assert shown["lead_over_ordinary"] == "0.00"
    assert (shown["gaar"]["e_tax"], shown["gaar"]["e_nontax"]) == ("0.00", "0.00")


def test_conversion_is_the_month_the_mortgage_is_gone() -> None:
    shown = compared({"plan.opening": {"mtg": "50000.00"}}, break_even=False)
    plan_month = shown["conversion"]["plan"]
    assert shown["conversion"]["prepayments"] <= plan_month <= shown["conversion"]["ordinary"]
    assert compared({}, break_even=False)["conversion"]["plan"] is None


def test_the_purpose_figures_use_the_line_rate_unless_a_discount_is_given() -> None:
    one = household(TEN_YEARS)
    result = run_plan(one)
    figures = gaar_figures(one, result)
    assert figures.discount == Decimal("0.0730")
    assert figures.dominates
    given = household(TEN_YEARS | {"plan.discount": "0"})
    plain = gaar_figures(given, run_plan(given))
    assert plain.tax_cents == pytest.approx(
        0.40 * sum(one.deductible for one in result.rows), abs=1
    )
    assert comparison(one, result, break_even=False)["gaar"] == figures.as_json()


def test_effective_rates_of_members_returns_are_probed() -> None:
    one = household(
        {"plan.marginal": None,
         "members": [{"ref": "m1", "name": "Wren Alder", "province": "ON",
                      "income": {"2025": "128000.00"}}],
         "investments.0.owners": ["m1"], "lines.0.claimant": "m1", "lines.0.borrowers": ["m1"]}
    )  # fmt: skip
    rates = effective_rates(one, "")
    # Ontario 2025 at 128,000: 26% + 11.16% x (1 + surtaxes 20% and 36%) = 43.41%
    assert rates.ordinary == Decimal("0.4341")
    assert dict(rates.by_kind)["capital_gain"] == Decimal("0.2170")


def test_no_plan_has_no_comparison() -> None:
    one = household({"plan": None})
    assert comparison(one, run_plan(one)) == {}


def test_distributions_held_for_a_mortgage_that_is_gone_are_counted_once():
    def worth(route: str) -> tuple[int, int]:
        one = household(
            {
                "plan.opening.mtg": "0.00",
                "plan.opening.inv": "100000.00",
                "plan.reborrow": None,
                "plan.investment.yields": {"eligible_dividend": "0.06"},
                "plan.investment.distributions": route,
            }
        )
        cases = build_cases(one, run_plan(one), effective_rates(one, "alder"))
        return cases.plan.net_worth(Fraction(1, 5))

    # No payment date comes any more: held or paid out, it is the same cash.
    assert worth("prepay") == worth("cash")
