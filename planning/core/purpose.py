"""The two figures behind the question whether tax is a main purpose of a plan.

Income Tax Act 245(4.2)(b), for transactions from 2024 on, asks whether at the
outset the expected tax benefit exceeds the expected non-tax economic return.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from planning.core.flat_tax import flat_saving_cents
from planning.core.money import round_half_up, text_from_cents
from planning.core.plan_types import PlanResult
from planning.core.rates import as_decimal, merged_prime, rate_on, root_growth
from planning.core.types import Household, MarginalRates


@dataclass(frozen=True, slots=True)
class PurposeFigures:
    """E_tax and E_nontax in cents, at the plan's start, and the discount rate a year."""

    tax_cents: int
    nontax_cents: int
    discount: Decimal

    @property
    def dominates(self) -> bool:
        """Whether the expected tax benefit exceeds the expected non-tax return."""
        return self.tax_cents > self.nontax_cents

    def as_json(self) -> dict[str, object]:
        """The figures as the report shows them."""
        return {
            "e_tax": text_from_cents(self.tax_cents),
            "e_nontax": text_from_cents(self.nontax_cents),
            "difference": text_from_cents(self.tax_cents - self.nontax_cents),
            "discount": f"{self.discount:f}",
            "tax_benefit_dominates": self.dominates,
        }


def present_values(
    flows: Sequence[tuple[Fraction, Fraction]], discount: Decimal
) -> tuple[int, int]:
    """Present values of (non-tax return, tax benefit) flows at the end of each month.

    PV = sum over months k = 1, 2, ... of flow_k x (1 + d)^(-k/12), in cents.
    """
    monthly = 1 + root_growth(discount, Fraction(1, 12))
    factor = Decimal(1)
    step = as_decimal(1 / monthly)
    nontax = tax = Decimal(0)
    for other, benefit in flows:
        factor *= step
        nontax += as_decimal(other) * factor
        tax += as_decimal(benefit) * factor
    return round_half_up(nontax), round_half_up(tax)


def plan_discount(household: Household) -> Decimal:
    """The plan's `discount`, else its line rate at the start, never below zero."""
    plan = household.plan
    assert plan is not None
    if plan.discount_annual is not None:
        return plan.discount_annual
    wanted = plan.reborrow.line if plan.reborrow else None
    line = next((one for one in household.lines if wanted in (None, one.ref)), None)
    prime = rate_on(merged_prime(plan.prime, household.prime), plan.starts)
    if line is None or prime is None:
        return Decimal(0)
    return max(Decimal(0), prime + line.spread)


def purpose_figures(
    household: Household, result: PlanResult, ordinary: PlanResult, rates: MarginalRates
) -> PurposeFigures:
    """E_tax and E_nontax of what the plan adds to the ordinary mortgage.

    E_nontax = PV(after-tax portfolio income and growth - line interest, no refund counted)
    E_tax    = PV(rate on ordinary income x deductible interest)

    Income is taxed as it comes, the gain when all is sold on the last day.
    """
    flows: list[tuple[Fraction, Fraction]] = []
    income_tax = _income_tax_by_month(result, ordinary, rates)
    ordinary_rate = Fraction(rates.ordinary)
    for index, (row, base) in enumerate(zip(result.rows, ordinary.rows, strict=True)):
        returned = row.growth + row.distribution - base.growth - base.distribution
        cost = row.line_interest - base.line_interest
        benefit = ordinary_rate * (row.deductible - base.deductible)
        flows.append((Fraction(returned - cost) - income_tax[index], benefit))
    gain = _gain(result) - _gain(ordinary)
    rate = Fraction(dict(rates.by_kind).get("capital_gain", Decimal(0)))
    last = flows[-1]
    flows[-1] = (last[0] - rate * max(0, gain), last[1])
    discount = plan_discount(household)
    nontax, tax = present_values(flows, discount)
    return PurposeFigures(tax, nontax, discount)


def _gain(result: PlanResult) -> int:
    closing = result.closing
    assert closing is not None
    return sum(amount for _, amount in closing.accounts) - closing.cost


def _income_tax_by_month(
    result: PlanResult, ordinary: PlanResult, rates: MarginalRates
) -> list[int]:
    """Tax on what the plan's distributions add, at the end of each calendar year's months."""
    owed = [0] * len(result.rows)
    base = {one.year: dict(one.income) for one in ordinary.years}
    for year in result.years:
        before = base.get(year.year, {})
        added = {kind: amount - before.get(kind, 0) for kind, amount in year.income}
        months = [i for i, row in enumerate(result.rows) if row.month.startswith(f"{year.year}-")]
        owed[months[-1]] += -flat_saving_cents(rates, 0, added)
    return owed
