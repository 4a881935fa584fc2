"""A figure that changes on some days and stands on the others."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Steps:
    """End-of-day values of one figure, in cents: `before` holds until the first date."""

    dates: tuple[date, ...]
    values: tuple[int, ...]
    before: int

    @classmethod
    def of(cls, changes: Iterable[tuple[date, int]], before: int) -> Steps:
        """Steps from (date, value after) pairs in date order; the last value of a day counts."""
        dates: list[date] = []
        values: list[int] = []
        for day, value in changes:
            if dates and dates[-1] == day:
                values[-1] = value
                continue
            assert not dates or dates[-1] < day, "changes come in date order"
            dates.append(day)
            values.append(value)
        return cls(tuple(dates), tuple(values), before)

    def on(self, day: date) -> int:
        """The value at the end of a day."""
        index = bisect_right(self.dates, day)
        return self.values[index - 1] if index else self.before
