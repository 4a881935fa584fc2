"""Cents, rounding and sharing out: the only places where money is rounded.

Money inside the core is a plain `int` of cents. Text such as "1204.37" is read
and written here, and every product of money and a rate passes through
`round_half_up`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

_MONEY = re.compile(r"-?[0-9]{1,13}(\.[0-9]{1,2})?\Z")
_RATE = re.compile(r"-?[0-9]{1,6}(\.[0-9]{1,12})?\Z")


def cents_from_text(text: str) -> int:
    """Read a decimal string of at most two places as cents: "1204.37" -> 120437.

    Raises ValueError for anything else (exponents, signs other than a leading
    minus, more than two decimals, more than thirteen digits).
    """
    if not _MONEY.match(text):
        raise ValueError(f"{text!r} is not an amount")
    return int(Decimal(text).scaleb(2))


def text_from_cents(cents: int) -> str:
    """Write cents as a decimal string with two places: 120437 -> "1204.37"."""
    sign = "-" if cents < 0 else ""
    whole, part = divmod(abs(cents), 100)
    return f"{sign}{whole}.{part:02d}"


def rate_from_text(text: str) -> Decimal:
    """Read a decimal fraction such as "0.0545". Raises ValueError otherwise."""
    if not _RATE.match(text):
        raise ValueError(f"{text!r} is not a decimal fraction")
    return Decimal(text)


def round_half_up(value: Fraction | Decimal | int) -> int:
    """Round an exact value to a whole number, halves away from zero.

    Rule: MODEL section 0 and reading F9 (halves go away from zero). A `float`
    is refused, since it has been rounded already.
    """
    if isinstance(value, float):
        raise TypeError("a binary float cannot be rounded to the cent")
    exact = Fraction(value)
    return round_ratio(exact.numerator, exact.denominator)


def round_ratio(numerator: int, denominator: int) -> int:
    """numerator/denominator to a whole number, halves away from zero; denominator > 0.

    The same rule as `round_half_up`, for callers that keep whole numbers.
    """
    if numerator < 0:
        return -((-2 * numerator + denominator) // (2 * denominator))
    return (2 * numerator + denominator) // (2 * denominator)


def prorate(amount: int, weights: Sequence[Fraction | Decimal | int]) -> tuple[int, ...]:
    """Share `amount` cents over `weights` so that the parts sum to the amount.

    Every share is floored to the cent and the left-over cents go to the largest
    fractional remainders, ties in the order listed. All-zero weights put the
    whole amount on the last class. A negative amount is shared as its absolute
    value and negated. Weights must not be negative. Rule: MODEL section 0.
    """
    assert weights, "nothing to share over"
    if amount < 0:
        return tuple(-part for part in prorate(-amount, weights))
    whole = _whole_weights(weights)
    assert all(weight >= 0 for weight in whole), "a weight is negative"
    total = sum(whole)
    if total == 0:
        return (*(0 for _ in whole[:-1]), amount)
    parts: list[int] = []
    remainders: list[int] = []
    for weight in whole:
        floor, remainder = divmod(amount * weight, total)
        parts.append(floor)
        remainders.append(remainder)
    left = amount - sum(parts)
    order = sorted(range(len(parts)), key=lambda index: (-remainders[index], index))
    for index in order[:left]:
        parts[index] += 1
    assert sum(parts) == amount
    return tuple(parts)


def _whole_weights(weights: Sequence[Fraction | Decimal | int]) -> list[int]:
    """The weights as whole numbers in the same proportions."""
    whole = [weight for weight in weights if isinstance(weight, int)]
    if len(whole) == len(weights):
        return whole
    exact = [Fraction(weight) for weight in weights]
    scale = math.lcm(*(weight.denominator for weight in exact))
    return [weight.numerator * (scale // weight.denominator) for weight in exact]
