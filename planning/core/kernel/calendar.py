"""Months counted from year 0 (year x 12 + month - 1): their days and their leap years."""

from __future__ import annotations

from calendar import isleap, monthrange

import numpy as np

from planning.core.kernel.exact import Ints

_FIRST, _LAST = 1940, 2400
_BASE = _FIRST * 12

_DAYS: Ints = np.array(
    [monthrange(year, month)[1] for year in range(_FIRST, _LAST) for month in range(1, 13)],
    dtype=np.int64,
)
_LEAP: Ints = np.repeat(
    np.array([isleap(year) for year in range(_FIRST, _LAST)], dtype=np.int64), 12
)


def days_of(months: Ints) -> Ints:
    """How many days each month has."""
    return _DAYS[months - _BASE]


def leap(months: Ints) -> Ints:
    """1 for a month of a leap year, else 0."""
    return _LEAP[months - _BASE]


def days_of_month(month: int) -> int:
    """How many days one month has."""
    return monthrange(month // 12, month % 12 + 1)[1]
