"""A trace as the close reads it: draws by what is wrong with them, lines, leaks, interest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

from ledger.core.steps import Steps

Classes = tuple[int, int, int]
"""Eligible, unsupported, ineligible, in cents."""
Leaving = Literal["capital", "proceeds", "registered"]


@dataclass(frozen=True, slots=True)
class DrawView:
    """A draw, fee, opening or positive adjustment as it was classed. Amounts in cents.

    `personal` is the ineligible part that is neither registered nor an
    inheritance of the interest or debt it paid; `registered` went into a
    registered plan; `without_paper` is unsupported for want of evidence.
    """

    id: str
    on: date
    line: str
    kind: str
    amount: int
    classes: Classes
    personal: int
    registered: int
    without_paper: int


@dataclass(frozen=True, slots=True)
class PostingView:
    """Interest posted: nights covered, posted and computed cents, what is unpaid.

    `computed` is None where it cannot be checked.
    """

    on: date
    id: str
    nights: int
    posted: int
    computed: int | None
    unpaid: int


@dataclass(frozen=True, slots=True)
class LeakView:
    """Eligible principal that lost its use when money left an account."""

    id: str
    on: date
    rule: Leaving
    moved: int
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LineView:
    """One line at the end of the trace.

    `balance` is the statement's, below zero after an overpayment. `targets`
    shares out the eligible principal. `ineligible` is the ineligible principal
    at the end of every day up to then, as known now.
    """

    ref: str
    balance: int
    principal: Classes
    unpaid: Classes
    targets: Mapping[str, int]
    postings: tuple[PostingView, ...]
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
    draws: tuple[DrawView, ...]
    leaks: tuple[LeakView, ...]
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
