"""Sharing a gap over causes: exact, symmetric, indifferent to order."""

from __future__ import annotations

from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.core.shapley import shapley_cents


def by_every_order(values: list[int], causes: int) -> list[float]:
    """The definition: the mean effect of each cause over every order."""
    totals = [0.0] * causes
    orders = list(permutations(range(causes)))
    for order in orders:
        mask = 0
        for cause in order:
            before = values[mask]
            mask |= 1 << cause
            totals[cause] += values[mask] - before
    return [total / len(orders) for total in totals]


@given(
    st.integers(1, 4).flatmap(
        lambda n: st.lists(st.integers(-10_000, 10_000), min_size=1 << n, max_size=1 << n)
    )
)
def test_parts_sum_to_the_gap_and_follow_the_definition(values: list[int]) -> None:
    causes = len(values).bit_length() - 1
    parts = shapley_cents(values, causes)
    assert sum(parts) == values[-1] - values[0]
    for part, mean in zip(parts, by_every_order(values, causes), strict=True):
        assert abs(part - mean) < 1.0 + 1e-6


def test_a_textbook_game() -> None:
    """The glove game (Shapley and Shubik, 1969): one left glove, two right ones.

    A pair is worth 1; the left glove's owner gets 2/3, the others 1/6 each.
    In units of 600 so that the shares are whole.
    """
    values = [0] * 8
    for mask in range(8):
        values[mask] = 600 if mask & 1 and mask & 6 else 0
    assert shapley_cents(values, 3) == (400, 100, 100)


def test_a_cause_that_changes_nothing_gets_nothing() -> None:
    values = [5, 105, 5, 105]
    assert shapley_cents(values, 2) == (100, 0)


def test_no_cause_and_a_gap_is_a_fault() -> None:
    with pytest.raises(AssertionError):
        shapley_cents([1, 2], 2)
