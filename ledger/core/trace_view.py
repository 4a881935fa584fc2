"""A trace as the close reads it: draws by what is wrong with them, lines, leaks, interest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from ledger.core.steps import Steps
from ledger.core.trace_types import DrawTrace, Leak, LineTrace


@dataclass(frozen=True, slots=True)
class LineView(LineTrace):
    """One line at the end of the trace, and its ineligible principal over time.

    `ineligible` is the ineligible principal at the end of every day up to then,
    as known now. The balance is the statement's, below zero after an overpayment.
    """

    ineligible: Steps


@dataclass(frozen=True, slots=True)
class MonthFlows:
    """What one month brought on all lines, in cents."""

    draw: int = 0
    interest_draw: int = 0
    dam_draw: int = 0
    posted: int = 0
    paid: int = 0
    deductible: int = 0


@dataclass(frozen=True, slots=True)
class TraceView:
    """Everything the close needs of a trace."""

    lines: Mapping[str, LineView]
    draws: tuple[DrawTrace, ...]
    leaks: tuple[Leak, ...]
    overstated: tuple[tuple[str, date, int], ...]
    months: Mapping[str, MonthFlows]

    def wholly_ineligible(self, draw: str) -> bool:
        """Whether nothing of a draw is eligible or unsupported."""
        for one in self.draws:
            if one.id == draw:
                return one.classes[0] == 0 and one.classes[1] == 0
        return False

    def deductible(self, month: str) -> int:
        """Deductible interest of one month, by the household's method."""
        return self.months.get(month, MonthFlows()).deductible
