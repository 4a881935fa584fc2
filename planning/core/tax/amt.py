"""Alternative minimum tax: a screen that says when to look, never a filing figure.

    minimum = rate x max(0, adjusted income - exemption) - share of the basic credit
    due when minimum > regular federal tax, before the abatement

Adjusted income takes capital gains at the year's inclusion, dividends without
gross-up, and from 2024 on only half of the interest deducted. Every figure is
the year's, from planning/data/tax. Left out: donations, medical and other
credits, employment and other half-counted deductions, stock options, foreign
tax credits, loss carry-overs, and the Québec minimum tax. A filing needs form
T691. Rule: Income Tax Act, sections 127.5 to 127.55.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from planning.core.money import round_half_up
from planning.core.tax.engine import Income, basic_amount, federal_tax, taxable_income
from planning.core.tax.household import HouseholdTax
from planning.core.tax.parameters import YearParameters, parameters


@dataclass(frozen=True, slots=True)
class Screen:
    """The screen of one person for one year, in cents.

    `excess` is the federal minimum tax beyond the regular tax; `provincial` the
    province's on top of it, None where its factor is not on file (which is
    unknown, not nil) and an excess exists. The excess can reduce the regular
    tax of the next `carry_forward_years` years.
    """

    year: int
    adjusted: int
    exemption: int
    minimum: int
    regular: int
    excess: int
    provincial: int | None
    carry_forward_years: int

    @property
    def triggered(self) -> bool:
        """Whether the minimum passes the regular tax: time to work out form T691."""
        return self.excess > 0


def screen(
    law: YearParameters,
    income: Income,
    *,
    province: str | None = None,
    credit_base_cents: int | None = None,
) -> Screen:
    """Screen one person's year for minimum tax.

    `credit_base_cents` is the sum of the amounts credited at the lowest rate;
    by default the basic personal amount alone. `province` asks for the
    province's own part. Minimum and regular tax are rounded to the cent each,
    then subtracted. Take `law` from `parameters(year)`, which raises BadInput
    for a year not on file.
    """
    rule = law.minimum_tax
    base = credit_base_cents
    if base is None:
        base = basic_amount(law.federal.basic, taxable_income(law, income))
    credit = law.federal.credit_rate * base
    adjusted = max(
        Fraction(0),
        income.ordinary_cents
        + income.interest_cents
        + income.eligible_dividends_cents
        + income.other_dividends_cents
        + rule.gain_inclusion * income.capital_gain_cents
        - rule.interest_share * income.deduction_cents,
    )
    above = max(Fraction(0), adjusted - rule.exemption)
    minimum = round_half_up(max(Fraction(0), rule.rate * above - rule.credit_share * credit))
    regular = round_half_up(federal_tax(law, income, credit_base_cents=base))
    excess = max(0, minimum - regular)
    return Screen(
        year=law.year,
        adjusted=round_half_up(adjusted),
        exemption=rule.exemption,
        minimum=minimum,
        regular=regular,
        excess=excess,
        provincial=_provincial(law, province, excess),
        carry_forward_years=rule.carry_forward_years,
    )


def household_screen(
    found: HouseholdTax, year: int, deduction_cents: int, income_by_kind: Mapping[str, int]
) -> dict[str, Screen]:
    """The screen of every member for a year of the plan, by member.

    `income_by_kind` as in HouseholdTax; add a gain to be realised under
    `capital_gain` to see what an exit in one year would do. Raises BadInput
    for a year not on file: no minimum tax is projected beyond known law.
    """
    law = parameters(year)
    return {
        member.ref: screen(law, income, province=member.province)
        for member, _, income in found.incomes(year, deduction_cents, income_by_kind)
    }


def _provincial(law: YearParameters, province: str | None, excess: int) -> int | None:
    if not excess:
        return 0
    factor = None if province is None else law.provinces[province].minimum_tax_factor
    return None if factor is None else round_half_up(factor * excess)
