"""What tracing gives back: every dollar of a line by use, and where it went."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

Classes = tuple[int, int, int]
"""Eligible, unsupported, ineligible, in cents."""
NONE: Classes = (0, 0, 0)
LeakRule = Literal["capital", "proceeds", "registered"]


def add(one: Classes, two: Classes) -> Classes:
    """The sum of two amounts by class."""
    return (one[0] + two[0], one[1] + two[1], one[2] + two[2])


def less(one: Classes, two: Classes) -> Classes:
    """The difference of two amounts by class."""
    return (one[0] - two[0], one[1] - two[1], one[2] - two[2])


@dataclass(frozen=True, slots=True)
class TraceRow:
    """One entry of a line: what it changed by class, and the balance after it.

    `kind` is the statement's, or `opening`, `adjustment`, `reclass`. `amount`
    is positive; `change` is signed; in a reclass it sums to zero. `principal` is
    the part of the change that is principal, `targets` that of eligible
    principal by target.
    """

    id: str
    on: date
    kind: str
    amount: int
    change: Classes
    balance: int
    principal: Classes
    targets: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class SplitTrace:
    """One split of a draw as it was classed, and what supports it."""

    use: str
    to: str | None
    amount: int
    classes: Classes
    supported_by: str | None


@dataclass(frozen=True, slots=True)
class DrawTrace:
    """A draw, fee, opening or positive adjustment as it was classed, in cents.

    `personal` is the ineligible part neither registered nor inherited from the
    interest or debt it paid; `registered` went into a registered plan;
    `without_paper` is unsupported for want of evidence.
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
    splits: tuple[SplitTrace, ...]


@dataclass(frozen=True, slots=True)
class PostingTrace:
    """Interest posted on a line: nights covered, posted and computed cents.

    `computed` is None where no rate is known for some night, or the posting is
    the first after a gap between statements. `classes` is how the posting was
    shared, `compound` the part of it that is interest on interest, `unpaid`
    what is still owed of it at the end of the trace.
    """

    id: str
    on: date
    line: str
    nights: int
    posted: int
    computed: int | None
    classes: Classes
    compound: Classes
    unpaid: Classes


@dataclass(frozen=True, slots=True)
class InterestPayment:
    """Interest paid: by which entry, of which posting, by class; its compound part."""

    id: str
    on: date
    line: str
    posting: str
    posted_on: date
    classes: Classes
    compound: Classes


@dataclass(frozen=True, slots=True)
class PrincipalRepaid:
    """Principal taken off a line by a repayment, by class (positive)."""

    id: str
    on: date
    line: str
    classes: Classes


@dataclass(frozen=True, slots=True)
class Leak:
    """Linked principal that lost its use when money left an account, by line."""

    id: str
    on: date
    account: str
    rule: LeakRule
    moved: int
    by_line: tuple[tuple[str, int], ...]

    @property
    def lines(self) -> tuple[str, ...]:
        """The lines whose principal moved."""
        return tuple(line for line, cents in self.by_line if cents > 0)


@dataclass(frozen=True, slots=True)
class Relink:
    """Linked principal that followed money from one account to another, in use still."""

    id: str
    on: date
    line: str
    source: str
    to: str
    cents: int


@dataclass(frozen=True, slots=True)
class IncomeOverstated:
    """A withdrawal called income above the income received and still there."""

    id: str
    on: date
    excess: int


@dataclass(frozen=True, slots=True)
class LineTrace:
    """One line at the end of a trace; `targets` shares out the eligible principal."""

    ref: str
    balance: int
    principal: Classes
    unpaid: Classes
    targets: Mapping[str, int]
    rows: tuple[TraceRow, ...]
    postings: tuple[PostingTrace, ...]

    @property
    def classes(self) -> Classes:
        """Principal and unpaid interest together, by class."""
        return add(self.principal, self.unpaid)


@dataclass(frozen=True, slots=True)
class Trace:
    """A household's lines traced up to the end of `as_of`, amounts in cents.

    `linked` is L_a, `own` O_a by investment account.
    """

    as_of: date
    lines: Mapping[str, LineTrace]
    draws: tuple[DrawTrace, ...]
    payments: tuple[InterestPayment, ...]
    repaid: tuple[PrincipalRepaid, ...]
    leaks: tuple[Leak, ...]
    relinks: tuple[Relink, ...]
    overstated: tuple[IncomeOverstated, ...]
    linked: Mapping[str, int]
    own: Mapping[str, int]
