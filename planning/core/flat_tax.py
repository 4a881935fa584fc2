"""The tax of a plan by flat rates, and the choice between them and the tax engine."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from planning.core.money import round_half_up
from planning.core.plan_types import TaxOfYear
from planning.core.tax.household import household_tax
from planning.core.types import Household, MarginalRates


def flat_saving_cents(
    rates: MarginalRates, deduction_cents: int, income_by_kind: Mapping[str, int]
) -> int:
    """The year's saving at flat rates, rounded once; negative when tax is owed.

    round(ordinary x deduction - sum of rate x distributions by kind)

    The rates apply to the amounts received; a return of capital is untaxed.
    """
    total = Fraction(rates.ordinary) * deduction_cents
    for kind, rate in rates.by_kind:
        if kind != "return_of_capital":
            total -= Fraction(rate) * income_by_kind.get(kind, 0)
    return round_half_up(total)


def flat_tax(rates: MarginalRates) -> TaxOfYear:
    """The flat rates as the plan's tax of a year."""

    def saving(_year: int, deduction_cents: int, income_by_kind: Mapping[str, int]) -> int:
        return flat_saving_cents(rates, deduction_cents, income_by_kind)

    return saving


def has_taxable_side(household: Household) -> bool:
    """Whether the plan can deduct interest or receive a distribution at all."""
    plan = household.plan
    if plan is None:
        return False
    mortgages = {one.ref for one in household.mortgages}
    return (
        plan.reborrow is not None
        or plan.dam is not None
        or any(cents for ref, cents in plan.opening if ref not in mortgages)
    )


def tax_for(household: Household, file: str) -> TaxOfYear:
    """The tax of the household's plan: its flat rates when the file gives them,
    else the members' own returns.

    Raises BadInput, naming `plan.marginal` as one remedy, when neither can be
    computed; never a silent zero. A fresh engine is built at every call, since
    it carries amounts from year to year.
    """
    plan = household.plan
    assert plan is not None
    if plan.marginal is not None:
        return flat_tax(plan.marginal)
    if not has_taxable_side(household):
        return lambda _year, _deduction, _income: 0
    return household_tax(household, file)
