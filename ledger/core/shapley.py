"""Sharing a gap over its causes so that no order of causes matters.

The Shapley value of a cause is its average effect over every order in which
the causes could be switched from planned to actual. Source: L. S. Shapley, "A
value for n-person games", Contributions to the Theory of Games II (1953).
"""

from __future__ import annotations

from collections.abc import Sequence
from math import factorial


def shapley_cents(values: Sequence[int], causes: int) -> tuple[int, ...]:
    """Share `values[all] - values[none]` over the causes, to the cent.

    `values[mask]` is the measured amount in cents with the causes of the bit
    mask switched to actual; there are 2**causes of them. The parts sum exactly
    to the gap: each is floored and the left-over cents go to the largest
    fractional remainders, ties to the cause listed first.
    """
    assert len(values) == 1 << causes, "one value for every subset of causes"
    gap = values[-1] - values[0]
    if causes == 0:
        assert gap == 0, "a gap without a cause"
        return ()
    whole = factorial(causes)
    weights = [factorial(size) * factorial(causes - size - 1) for size in range(causes)]
    totals = [0] * causes
    for mask, value in enumerate(values):
        size = mask.bit_count()
        for cause in range(causes):
            bit = 1 << cause
            if mask & bit:
                totals[cause] += weights[size - 1] * value
            else:
                totals[cause] -= weights[size] * value
    assert sum(totals) == gap * whole
    parts = [total // whole for total in totals]
    left = gap - sum(parts)
    order = sorted(range(causes), key=lambda cause: (-(totals[cause] % whole), cause))
    for cause in order[:left]:
        parts[cause] += 1
    assert sum(parts) == gap
    return tuple(parts)
