"""Which months are over on a given date: pure calendar, no clock."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date


def months_over(first: date, today: date) -> Iterator[date]:
    """First days of the months from that of `first` to the last one that ended before `today`."""
    month = first.replace(day=1)
    while (following := _next(month)) <= today:
        yield month
        month = following


def _next(month: date) -> date:
    return date(month.year + month.month // 12, month.month % 12 + 1, 1)
