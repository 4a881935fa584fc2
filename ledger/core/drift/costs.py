"""What a year's deduction more, or less, does to the claimant's tax.

At the plan's flat rate where it has one; else the claimant's own tax before
less after, on top of what the lines' eligible principal already deducts in a
year. For a claimant of Québec both are counted with the investment income of
the last twelve months, since its return allows no more than that.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from config.problems import BadInput
from ledger.core.deductions import claimant_of
from ledger.core.provincial import is_limited, received_between
from planning.core.money import round_half_up
from planning.core.months import day_in_month
from planning.core.tax.engine import Income, tax
from planning.core.tax.household import income_of_year
from planning.core.tax.parameters import YearParameters, indexed
from planning.core.types import Household


class DeductionCosts:
    """A household's costs of lost deductions; each figure is worked out once."""

    def __init__(self, household: Household) -> None:
        self._household = household
        plan = household.plan
        self._flat = None if plan is None else plan.marginal
        self._inflation = Decimal(0) if plan is None else plan.inflation
        self._claimant = claimant_of(household)
        self._base: dict[date, tuple[YearParameters, Income] | None] = {}
        self._taxes: dict[tuple[date, int], int] = {}

    def of(self, as_of: date, interest: Fraction, claimed: Fraction) -> int:
        """The tax that `interest` a year saves beyond a deduction of `claimed`, in cents.

        Both are a year's interest in cents, exact. Zero when no rate and no
        income is known.
        """
        if self._flat is not None:
            return max(0, round_half_up(Fraction(self._flat.ordinary) * interest))
        before, after = round_half_up(claimed), round_half_up(claimed + interest)
        taxed = [self._tax(as_of, cents) for cents in (before, after)]
        if taxed[0] is None or taxed[1] is None:
            return 0
        return max(0, taxed[0] - taxed[1])

    def _tax(self, as_of: date, deduction: int) -> int | None:
        known = self._known(as_of)
        if known is None or self._claimant is None:
            return None
        if (as_of, deduction) not in self._taxes:
            law, income = known
            claimed = replace(income, deduction_cents=deduction)
            self._taxes[as_of, deduction] = tax(law, self._claimant.province, claimed).total_cents
        return self._taxes[as_of, deduction]

    def _known(self, as_of: date) -> tuple[YearParameters, Income] | None:
        if as_of not in self._base:
            self._base[as_of] = self._year(as_of)
        return self._base[as_of]

    def _year(self, as_of: date) -> tuple[YearParameters, Income] | None:
        member = self._claimant
        if member is None or not member.income:
            return None
        try:
            law = indexed(as_of.year, self._inflation)
        except (BadInput, ValueError):
            return None
        income = Income()
        if is_limited(member):
            since = day_in_month(as_of.year - 1, as_of.month, as_of.day) + timedelta(days=1)
            income = received_between(self._household, member, since, as_of)
        ordinary = income_of_year(member, as_of.year, self._inflation)
        return law, replace(income, ordinary_cents=ordinary)
