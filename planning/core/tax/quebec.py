"""Québec's limit on investment expenses and the pool of what it held back.

A year's carrying charges and interest reduce Québec income only up to that
year's investment income: the excess is added back (TP-1 line 260, Schedule N)
and reduces the income of a later year with room (line 252), without limit in
time. The federal return has no such limit. Carrying the excess back three
years (form TP-1012.B) asks for an amended return and is left to the accountant.
Rule: Revenu Québec, TP-1 lines 231, 252 and 260.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class PoolYear:
    """One year of the pool, in cents.

    `expenses` claimed and investment `income` of the year, `addback` (line 260),
    `used` of earlier years' excess (line 252), `pool` left at the year's end.
    """

    year: int
    expenses: int
    income: int
    addback: int
    used: int
    pool: int

    @property
    def allowed(self) -> int:
        """What reduces Québec income this year: claimed, less added back, plus used."""
        return self.expenses - self.addback + self.used


def limited(expenses: Fraction, income: Fraction, pool: Fraction) -> tuple[Fraction, Fraction]:
    """What is added back this year, and what is used of the pool, exactly.

    addback = max(0, E - Y);  used = min(pool, max(0, Y - E))
    """
    short = income - expenses
    return max(Fraction(0), -short), min(pool, max(Fraction(0), short))


def pool_years(
    figures: Iterable[tuple[int, int, int]], opening_cents: int = 0
) -> tuple[PoolYear, ...]:
    """The pool over the years of `figures`: (year, expenses, investment income), in cents.

    `opening_cents` is the pool brought in. Investment income is taxable income:
    interest, dividends grossed up, the taxable half of gains; a negative one
    counts as nil. Raises ValueError when the years do not rise or an expense
    or the opening is negative.
    """
    if opening_cents < 0:
        raise ValueError("a pool cannot be negative")
    pool, before = opening_cents, None
    found: list[PoolYear] = []
    for year, expenses, income in figures:
        if before is not None and year <= before:
            raise ValueError(f"years must rise: {year} follows {before}")
        if expenses < 0:
            raise ValueError(f"expenses of {year} are negative")
        room = max(0, income)
        addback, used = map(int, limited(Fraction(expenses), Fraction(room), Fraction(pool)))
        pool += addback - used
        found.append(PoolYear(year, expenses, room, addback, used, pool))
        before = year
    return tuple(found)
