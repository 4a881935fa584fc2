"""Rates: from a quoted yearly rate to the rate of one payment period.

Values that are rational stay exact fractions. The others carry fifty
significant digits, far beyond what a cent of any balance can feel.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Context, Decimal
from fractions import Fraction
from functools import lru_cache

from planning.core.types import Compounding, Frequency, RateSteps

COMPOUNDINGS_A_YEAR: dict[Compounding, int] = {"semi-annual": 2, "monthly": 12, "annual": 1}
PAYMENTS_A_YEAR: dict[Frequency, int] = {
    "monthly": 12,
    "semi-monthly": 24,
    "biweekly": 26,
    "weekly": 52,
    "accelerated-biweekly": 26,
    "accelerated-weekly": 52,
}

# Worked at 60 digits and kept at 50, so that a root which happens to be a short
# decimal comes out as that decimal and a tie at half a cent stays a tie.
WIDE = Context(prec=60)
_KEPT = Context(prec=50)

QUALIFYING_FLOOR = Decimal("0.0525")
QUALIFYING_BUFFER = Decimal("0.02")


def as_decimal(value: Fraction | Decimal | int) -> Decimal:
    """A fraction at the wide precision."""
    exact = Fraction(value)
    return WIDE.divide(Decimal(exact.numerator), Decimal(exact.denominator))


def root_growth(rate: Decimal | Fraction, exponent: Fraction) -> Fraction:
    """(1 + rate)^exponent - 1, for rate >= -1 and a positive exponent."""
    base = as_decimal(1 + Fraction(rate))
    if base < 0:
        raise ValueError("a rate below -100% has no root")
    grown = WIDE.power(base, as_decimal(exponent)) if base else Decimal(0)
    return Fraction(_KEPT.plus(WIDE.subtract(grown, Decimal(1))))


@lru_cache(maxsize=4096)
def periodic_fraction(j: Decimal, compounding: Compounding, frequency: Frequency) -> Fraction:
    """The rate of one payment period as a fraction.

    i = (1 + j/k)^(k/p) - 1

    with k compoundings and p payments a year; exact when k/p is whole or j is
    zero, else fifty digits. Raises ValueError for a negative rate.
    """
    if j < 0:
        raise ValueError("a mortgage rate cannot be negative")
    k = COMPOUNDINGS_A_YEAR[compounding]
    p = PAYMENTS_A_YEAR[frequency]
    if k % p == 0:
        # Only k = p occurs (monthly compounding paid monthly): j/12, exactly.
        return Fraction(j) / p
    return root_growth(Fraction(j) / k, Fraction(k, p))


def periodic_rate(j: Decimal, compounding: Compounding, frequency: Frequency) -> Decimal:
    """The rate of one payment period, to at least 50 significant digits."""
    return as_decimal(periodic_fraction(j, compounding, frequency))


def rate_on(steps: RateSteps, day: date) -> Decimal | None:
    """The step in force on a day: the latest one dated on or before it, or None."""
    found: Decimal | None = None
    for starts, rate in steps:
        if starts > day:
            break
        found = rate
    return found


def merged_prime(plan_steps: RateSteps, file_steps: RateSteps) -> RateSteps:
    """Prime as a plan sees it: the plan's own series from its first entry on,
    the file's series before that.
    """
    if not plan_steps:
        return file_steps
    first = plan_steps[0][0]
    return (*(step for step in file_steps if step[0] < first), *plan_steps)


def shifted(steps: Sequence[tuple[date, Decimal]], by: Decimal) -> RateSteps:
    """The same steps with `by` added to every rate (a rate shock)."""
    return tuple((day, rate + by) for day, rate in steps)


def qualifying_rate(contract: Decimal) -> Decimal:
    """Minimum qualifying rate of an uninsured mortgage.

    max(contract rate + 2 points, 5.25%). Source: OSFI, Guideline B-20, minimum
    qualifying rate for uninsured mortgages.
    """
    return max(contract + QUALIFYING_BUFFER, QUALIFYING_FLOOR)
