"""Financing costs of money borrowed to earn income: a fifth a year.

Legal, appraisal, arrangement and registration costs of such a debt. Each year
the lesser of 20 % x cost x days of the year / 365 (always 365, so a leap year
gives a little more) and what is not deducted yet. A debt settled for good, not
in a series of refinancings, frees the rest that year. Principal and interest
are no financing cost. Rule: Income Tax Act, paragraph 20(1)(e).
"""

from __future__ import annotations

from calendar import isleap
from dataclasses import dataclass
from fractions import Fraction

from planning.core.money import round_half_up

YEARLY_SHARE = Fraction(20, 100)
DAYS = 365


@dataclass(frozen=True, slots=True)
class FinancingYear:
    """A year's deduction of a financing cost and what is left of it, in cents."""

    year: int
    deduction: int
    left: int


def financing_costs(
    cost_cents: int,
    first_year: int,
    *,
    eligible_share: Fraction = Fraction(1),
    settled_year: int | None = None,
) -> tuple[FinancingYear, ...]:
    """The deduction of one cost, year by year until nothing is left.

    `eligible_share` is the part of the debt used to earn income, which the
    caller states; `settled_year` the year in which all of it was repaid other
    than by a refinancing. Raises ValueError for a negative cost, a share
    outside 0 to 1, or a settlement before the first year.
    """
    if cost_cents < 0:
        raise ValueError("a cost cannot be negative")
    if not 0 <= eligible_share <= 1:
        raise ValueError("the eligible share lies between 0 and 1")
    if settled_year is not None and settled_year < first_year:
        raise ValueError(f"settled in {settled_year}, before the first year {first_year}")
    base = round_half_up(eligible_share * cost_cents)
    left, year = base, first_year
    found: list[FinancingYear] = []
    while left:
        days = 366 if isleap(year) else 365
        share = round_half_up(YEARLY_SHARE * base * Fraction(days, DAYS))
        # A cost of a cent or two would round to nil for ever: its last year takes it all.
        deduction = left if year == settled_year else min(left, max(share, 1))
        left -= deduction
        found.append(FinancingYear(year, deduction, left))
        year += 1
    return tuple(found)
