"""What a block gives back: totals and closing figures always, month rows where asked."""

from __future__ import annotations

import numpy as np

from planning.core.kernel.exact import Floats, Ints
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
    """Month rows where columns are kept, and the results at the end. Amounts in cents.

    Totals are not counted here month by month: what follows from balances (what was
    drawn, prepaid, refused) is settled at the end, and the rest is counted once.
    """

    def __init__(self, size: int, months: int, keep: tuple[str, ...]) -> None:
        unknown = set(keep) - set(ROW_KEYS)
        assert not unknown, f"no such column: {sorted(unknown)}"
        self.totals: dict[str, Ints] = {key: np.zeros(size, dtype=np.int64) for key in TOTALS}
        self.closing: dict[str, Ints] = {key: np.zeros(size, dtype=np.int64) for key in CLOSING}
        self.kept = {key: np.zeros((months, size), dtype=np.int64) for key in keep}
        self._row: dict[str, Ints] = {}

    def wants(self, *keys: str) -> bool:
        """Whether any of the columns is kept by month."""
        return any(key in self.kept for key in keys)

    def begin(self, month: int) -> None:
        """Begin a month."""
        if self.kept:
            self._row = {key: kept[month] for key, kept in self.kept.items()}

    def add(self, key: str, amount: Floats) -> None:
        """Add to a flow of the month's row."""
        if key in self._row:
            row = self._row[key]
            np.add(row, amount, out=row, casting="unsafe")

    def settle(self, into: dict[str, Ints], **figures: Floats) -> None:
        """Set totals or closing figures."""
        for key, amount in figures.items():
            into[key][:] = amount
