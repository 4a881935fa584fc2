"""Exact rounding on arrays of whole cents.

Every product of cents and a rate is a whole number over a whole denominator.
A floating-point quotient only proposes the rounded result; the remainder that
proves it is computed in 64-bit integers. The products may wrap around, yet the
remainder is small, so its wrapped value is its value.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FIXED = 1 << 61
"""Denominator of a rate that is no short fraction: its numerator is cut off here."""

PAYMENT = 1 << 60
"""Denominator of a payment factor, which may exceed one."""

SHORT = 10**12
"""Denominator of a rate as files state it, at most twelve decimals."""

MONTHLY = 12 * SHORT
"""Denominator of a yearly rate taken for one month."""

LARGEST = 1 << 34
"""No amount the kernel multiplies may reach this many cents."""

# Proposals are this much too high, so that they are right or one too many. The
# quotient is off by less than 2**-18 while amounts stay below LARGEST.
_LIFT = 0.5 + 1e-5
_DOUBT = np.uint64((1 << 64) - 2 * LARGEST)


class Doubt:
    """Remembers which columns met a rounding that the cut-off rate cannot decide."""

    def __init__(self, size: int) -> None:
        self._worst = np.zeros(size, dtype=np.uint64)

    def note(self, remainder: Ints) -> None:
        """Take in the remainders of one rounding, before their correction."""
        np.maximum(self._worst, remainder.view(np.uint64), out=self._worst)

    def flags(self) -> Flags:
        """The columns for which the exact rate must decide."""
        return self._worst >= _DOUBT


class Rate:
    """A rate by column, numerator over one denominator, with its proposal worked out."""

    __slots__ = ("denominator", "doubt", "guess", "half", "numerator")

    def __init__(self, numerator: Ints, denominator: int, doubt: Doubt | None = None) -> None:
        assert denominator % 2 == 0
        self.numerator = numerator
        self.denominator = denominator
        self.half = denominator // 2
        self.guess: Floats = numerator / float(denominator)
        self.doubt = doubt

    def change(self, columns: Ints, numerators: Ints) -> None:
        """Give some columns another rate."""
        self.numerator[columns] = numerators
        self.guess[columns] = numerators / float(self.denominator)

    def times(self, amount: Ints) -> Ints:
        """round(amount x rate), halves up; amounts are zero or more."""
        proposal: Ints = (amount * self.guess + _LIFT).astype(np.int64)
        remainder: Ints = amount * self.numerator
        remainder += self.half
        remainder -= proposal * self.denominator
        if self.doubt is not None:
            self.doubt.note(remainder)
        remainder >>= 63  # -1 where the proposal was one too many
        proposal += remainder
        return proposal


def divided(numerator: Ints, denominator: int) -> Ints:
    """round(numerator / denominator), halves up; numerators from 0 to below 2**62."""
    proposal: Ints = (numerator * (1.0 / denominator) + _LIFT).astype(np.int64)
    remainder: Ints = numerator + denominator // 2
    remainder -= proposal * denominator
    remainder >>= 63
    proposal += remainder
    return proposal


def divided_signed(numerator: Ints, denominator: int) -> Ints:
    """round(numerator / denominator), halves away from zero."""
    result: Ints = np.sign(numerator) * ((2 * np.abs(numerator) + denominator) // (2 * denominator))
    return result


def ratio(first: Ints, second: Ints, whole: Ints) -> Ints:
    """round(first x second / whole), halves up; 0 where `whole` is 0.

    Amounts lie below 2**30, so that twice a product fits.
    """
    safe = np.maximum(whole, 1)
    result: Ints = (2 * first * second + safe) // (2 * safe)
    return np.where(whole > 0, result, 0)


def _floor_share(amount: Ints, weight: Ints, total: Ints) -> tuple[Ints, Ints]:
    """floor(amount x weight / total) and the remainder, where the product may wrap."""
    share: Ints = np.floor(amount * (weight / total)).astype(np.int64)
    rest: Ints = amount * weight - share * total
    over = rest >= total
    share += over
    rest -= np.where(over, total, 0)
    under = rest < 0
    share -= under
    rest += np.where(under, total, 0)
    return share, rest


def prorate3(amount: Ints, first: Ints, second: Ints, third: Ints) -> tuple[Ints, Ints, Ints]:
    """`money.prorate` over three weights by column: left-over cents to the largest
    remainders, ties in order. Where all weights are zero the amount must be zero.
    """
    total = np.maximum(first + second + third, 1)
    one, rest1 = _floor_share(amount, first, total)
    two, rest2 = _floor_share(amount, second, total)
    three, rest3 = _floor_share(amount, third, total)
    left = amount - one - two - three
    leads1 = (rest1 >= rest2) & (rest1 >= rest3)
    leads2 = ~leads1 & (rest2 >= rest3)
    lasts3 = (rest3 <= rest1) & (rest3 <= rest2)
    lasts2 = ~lasts3 & (rest2 <= rest1)
    single, double = left == 1, left == 2
    one += (single & leads1) | (double & (lasts3 | lasts2))
    two += (single & leads2) | (double & ~lasts2)
    three += (single & ~leads1 & ~leads2) | (double & ~lasts3)
    return one, two, three
