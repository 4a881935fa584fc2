"""Interest posted on a line: nights, day basis, and the rates in force.

A posting on a date covers the nights from the previous posting date up to the
day before. Every night carries its end-of-day balance at the rate in force.
"""

from __future__ import annotations

from calendar import isleap
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from fractions import Fraction

from planning.core.money import round_half_up
from planning.core.types import DayBasis

# One night counts 366 units over 365 x 366 on a 365-day basis, and 365 units in
# a leap year on the actual basis: both bases share one whole-number scale.
YEAR_UNITS = 365 * 366
_TOLERANCE_FLOOR = 5
_TOLERANCE_A_DAY = 2


def night_units(start: date, end: date, basis: DayBasis) -> int:
    """The nights from `start` up to, not including, `end`, as units of 1/YEAR_UNITS year.

    Basis "365" counts every night as 1/365; "actual" counts a night of a leap
    year as 1/366.
    """
    nights = (end - start).days
    if nights <= 0:
        return 0
    if basis == "365":
        return nights * 366
    if start.year == end.year:
        return nights * (365 if isleap(start.year) else 366)
    total = 0
    for year in range(start.year, end.year + 1):
        first = max(start, date(year, 1, 1))
        after = min(end, date(year + 1, 1, 1))
        total += max(0, (after - first).days) * (365 if isleap(year) else 366)
    return total


def posted_interest_cents(
    stretches: Iterable[tuple[date, date, int, Decimal]], basis: DayBasis
) -> int:
    """Interest of one posting, in cents.

    round(sum of end-of-day balance x rate in force / basis)

    Each stretch is (first night, day after the last night, balance in cents,
    yearly rate). A credit balance (below zero) earns nothing.
    """
    total = Fraction(0)
    for start, end, balance, rate in stretches:
        total += Fraction(max(0, balance) * night_units(start, end, basis)) * Fraction(rate)
    return round_half_up(total / YEAR_UNITS)


def posting_tolerance_cents(nights: int) -> int:
    """How far a posted amount may lie from the computed one: max(0.05, 0.02 x nights).

    Common practice, no published source: two postings a day may each be rounded.
    """
    return max(_TOLERANCE_FLOOR, _TOLERANCE_A_DAY * nights)
