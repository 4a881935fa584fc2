"""What a block gives back: totals and closing figures always, month rows where asked."""

from __future__ import annotations

import numpy as np

from planning.core.kernel.exact import Ints
from planning.core.plan_types import ROW_KEYS

TOTALS: tuple[str, ...] = (
    *("interest", "line_interest", "deductible", "draw", "prepayment", "refund", "refused"),
)
"""Flows summed over the whole plan."""

CLOSING: tuple[str, ...] = (
    *("mortgage_closing", "line_closing", "eligible", "unsupported", "ineligible"),
    "portfolio_closing",
)
"""Figures of the plan's last month."""


class Sums:
    """Sums of the month and of the plan, by column. Amounts in cents."""

    def __init__(self, size: int, months: int, keep: tuple[str, ...]) -> None:
        unknown = set(keep) - set(ROW_KEYS)
        assert not unknown, f"no such column: {sorted(unknown)}"
        self.keep = keep
        self.totals = {key: np.zeros(size, dtype=np.int64) for key in TOTALS}
        self.closing = {key: np.zeros(size, dtype=np.int64) for key in CLOSING}
        self.kept = {key: np.zeros((months, size), dtype=np.int64) for key in keep}
        self._row: dict[str, Ints] = {}
        self._last = months - 1
        self._month = 0

    def wants(self, *keys: str) -> bool:
        """Whether any of the columns is kept by month."""
        return any(key in self.kept for key in keys)

    def begin(self, month: int, mortgage: Ints, line: Ints) -> None:
        """Begin a month with what is owed."""
        self._month = month
        self._row = {key: kept[month] for key, kept in self.kept.items()}
        self.close(mortgage_opening=mortgage, line_opening=line)

    def add(self, key: str, amount: Ints) -> None:
        """Add to a flow of the month, and to its total."""
        if key in self._row:
            self._row[key] += amount
        if key in self.totals:
            self.totals[key] += amount

    def close(self, **figures: Ints) -> None:
        """Set figures of the month; those of the last month are the plan's closing."""
        if self._row:
            for key in self._row.keys() & figures.keys():
                self._row[key][:] = figures[key]
        if self._month == self._last:
            for key in self.closing.keys() & figures.keys():
                self.closing[key][:] = figures[key]
