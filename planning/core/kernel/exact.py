"""Exact rounding on arrays of whole cents.

Amounts are whole cents held in 64-bit floats: every whole number below 2**53 is
exact there, and adding, comparing and rounding them costs a third of what whole
numbers of 64 bits cost. Every product of cents and a rate is a whole number over
a whole denominator. Where it stays below 2**53 it is divided as it is; elsewhere
a quotient gives the rounded result wherever that is certain, and the exact
remainder, in whole numbers, decides the rest.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Spare = tuple[Floats, ...]
"""Three arrays to work in, shared by the parts of a block: the fewer arrays a month
touches, the more of them stay in the processor's cache. Nothing lasts in them; rates
use the first."""

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

EXACT = 1 << 53
"""Whole numbers below this are exact in a 64-bit float."""

# A quotient this close to half a cent is decided in whole numbers. It is off by
# less than half of this while results stay below 2**30.
_CLOSE = 0.5 - 1e-6


def halved_up(numerator: Floats, half: int, denominator: int) -> Floats:
    """round(numerator / denominator), halves up, in place.

    Whole numbers, numerator + half below EXACT. Exact: the true quotient of such
    a sum is a whole number or at least 1 / denominator below the next one, and the
    nearest float to it is not further off than a quarter of that while results stay
    below 2**30. A product with the reciprocal would not be.
    """
    numerator += half
    numerator /= denominator
    return np.floor(numerator, out=numerator)


class Rate:
    """A rate by column: numerators over one denominator.

    Where products fit a float they are divided as they are. Else a quotient is
    rounded, and where that lies too close to half a cent the remainder decides:
    its product wraps around 64 bits, but it is small itself. `cut_off` rates lie up
    to one unit of the numerator above the one given; `doubt` then marks the columns
    that only the uncut rate can decide. `spare` is room to work in that others use too.
    """

    __slots__ = (
        *("cut_off", "denominator", "doubt", "factor", "fits", "half", "numerator"),
        "_distance",
    )

    def __init__(
        self,
        numerator: Ints,
        denominator: int,
        *,
        cut_off: bool = False,
        spare: Floats | None = None,
    ) -> None:
        assert denominator % 2 == 0
        common = 1
        if not cut_off:
            common = math.gcd(denominator // 2, common_part(numerator))
        self.numerator: Ints = numerator // common if common > 1 else numerator
        self.denominator = denominator // common
        self.half = self.denominator // 2
        self.cut_off = cut_off
        largest = int(self.numerator.max(initial=0))
        self.fits = not cut_off and LARGEST * largest + self.half < EXACT
        self.factor: Floats = same(self.numerator).astype(np.float64)
        if not self.fits:
            self.factor /= self.denominator
        self._distance = spare
        self.doubt: Flags = np.zeros(numerator.shape[0], dtype=np.bool_)

    def times(self, amount: Floats, out: Floats | None = None) -> Floats:
        """round(amount x rate), halves up, into `out`; amounts are zero or more."""
        if self.fits:
            return halved_up(np.multiply(amount, self.factor, out=out), self.half, self.denominator)
        distance = np.multiply(amount, self.factor, out=self._distance)
        result: Floats = np.rint(distance, out=out)
        distance -= result
        np.abs(distance, out=distance)
        # `reduce` itself: the method of the array goes a longer way to it.
        if np.maximum.reduce(distance) > _CLOSE:
            self._decide(amount, result, np.flatnonzero(distance > _CLOSE))
        return result

    def _decide(self, amount: Floats, result: Floats, columns: Ints) -> None:
        """Set the results of some columns by their remainders."""
        chosen = amount[columns].astype(np.int64)
        proposal = result[columns].astype(np.int64) + 1
        remainder = chosen * self.numerator[columns] + self.half - proposal * self.denominator
        for _ in range(2):
            over = remainder < 0
            proposal -= over
            remainder += np.where(over, self.denominator, 0)
        assert ((remainder >= 0) & (remainder < self.denominator)).all()
        result[columns] = proposal
        if self.cut_off:
            self.doubt[columns] |= remainder >= self.denominator - 2 * chosen


def common_part(values: Ints) -> int:
    """The greatest common divisor of all values. A few of them usually tell it."""
    some = int(np.gcd.reduce(values[:16]))
    return some if some and not (values % some).any() else int(np.gcd.reduce(values))


def same(values: Ints) -> Ints:
    """One value for the whole block where all columns agree: it broadcasts."""
    return values[:1] if (values == values[0]).all() else values


def whole(amounts: Floats) -> Ints:
    """The same whole numbers as integers, for products that need 64 bits."""
    found: Ints = amounts.astype(np.int64)
    return found


def floats(values: Ints | Flags) -> Floats:
    """The same whole numbers as floats; they lie below EXACT."""
    found: Floats = values.astype(np.float64)
    return found


def divided(numerator: Ints, denominator: int) -> Ints:
    """round(numerator / denominator), halves up; numerators from 0 to below 2**62."""
    result: Ints = (numerator + denominator // 2) // denominator
    return result


def divided_signed(numerator: Ints, denominator: int) -> Ints:
    """round(numerator / denominator), halves away from zero."""
    result: Ints = np.sign(numerator) * ((2 * np.abs(numerator) + denominator) // (2 * denominator))
    return result


def ratio(first: Ints, second: Ints, total: Ints) -> Ints:
    """round(first x second / total), halves up; 0 where `total` is 0.

    Amounts lie below 2**30, so that twice a product fits.
    """
    safe = np.maximum(total, 1)
    result: Ints = (2 * first * second + safe) // (2 * safe)
    return np.where(total > 0, result, 0)


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
