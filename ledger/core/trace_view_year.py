"""A calendar year's deduction taken apart: by use, by draw, by interest posting.

The parts add up to the year's deduction to the cent, which is asserted: what
cannot be walked back to a draw is not deducted. Rule of the year: Income Tax
Act, paragraphs 20(1)(c) and (d); see `deductions`.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from ledger.core.trace_types import Classes, PostingTrace, Trace
from ledger.core.trace_view_shares import Share, Shares, Source
from planning.core.types import Household, InterestMethod


@dataclass(frozen=True, slots=True)
class UsePart:
    """The part of a year's deduction earned by one use: an account, business, rental, interest."""

    target: str
    cents: int
    draws: int


@dataclass(frozen=True, slots=True)
class DrawPart:
    """The part of a year's deduction that one draw gave in one use, in cents.

    `kind`, `on`, `amount` and `line` are the draw's own; `compound` is the
    interest on interest inside `cents`.
    """

    draw: str
    target: str
    line: str
    on: date
    kind: str
    amount: int
    cents: int
    compound: int


@dataclass(frozen=True, slots=True)
class InterestPart:
    """Interest that entered a year's deduction, in cents.

    `paid_by` is the entry that paid it, on `on`; with the method payable the
    simple part enters on posting and `paid_by` is the posting itself.
    """

    posting: PostingTrace
    paid_by: str
    on: date
    classes: Classes
    cents: int


@dataclass(frozen=True, slots=True)
class YearTrace:
    """One calendar year's deduction, `deductible` cents, and its parts three ways."""

    year: int
    method: InterestMethod
    deductible: int
    uses: tuple[UsePart, ...]
    draws: tuple[DrawPart, ...]
    interest: tuple[InterestPart, ...]


@dataclass(frozen=True, slots=True)
class Deducted:
    """Shares of interest that entered a year's deduction together."""

    line: str
    posting: str
    paid_by: str
    on: date
    classes: Classes
    shares: tuple[Share, ...]

    @property
    def cents(self) -> int:
        """The eligible cents that were deducted."""
        return sum(one.cents for one in self.shares)


def deducted(household: Household, shares: Shares) -> tuple[Deducted, ...]:
    """Everything that ever entered a deduction, by the household's method, in order.

    Method `paid`: eligible interest when paid. `payable`: simple interest when
    posted, compound interest when paid.
    """
    payable = household.facility.interest_method == "payable"
    found: list[Deducted] = []
    if payable:
        for posted in shares.postings:
            one = posted.posting
            simple = tuple(
                Share(part.draw, part.target, part.simple, 0)
                for part in posted.shares
                if part.simple
            )
            found.append(Deducted(one.line, one.id, one.id, one.on, one.classes, simple))
    for paid in shares.payments:
        by = paid.payment
        parts = paid.shares
        if payable:
            parts = tuple(
                Share(part.draw, part.target, 0, part.compound) for part in parts if part.compound
            )
        found.append(Deducted(by.line, by.posting, by.id, by.on, by.classes, parts))
    return tuple(sorted((one for one in found if one.shares), key=lambda one: one.on))


def year_trace(household: Household, traced: Trace, shares: Shares, year: int) -> YearTrace:
    """A year's deduction by use, by draw and by posting, the largest part first.

    `shares` are those of `traced`. Asserts that each way adds up to the same sum.
    """
    entered = [one for one in deducted(household, shares) if one.on.year == year]
    total = sum(one.cents for one in entered)
    by_source: dict[Source, list[int]] = defaultdict(lambda: [0, 0])
    for one in entered:
        for part in one.shares:
            sums = by_source[part.draw, part.target]
            sums[0] += part.cents
            sums[1] += part.compound
    draws = _draw_parts(traced, by_source)
    uses = _use_parts(draws)
    postings = {one.id: one for line in traced.lines.values() for one in line.postings}
    interest = tuple(
        InterestPart(postings[one.posting], one.paid_by, one.on, one.classes, one.cents)
        for one in entered
    )
    assert total == sum(one.cents for one in draws) == sum(one.cents for one in uses)
    assert total == sum(one.cents for one in interest)
    return YearTrace(year, household.facility.interest_method, total, uses, draws, interest)


def _draw_parts(traced: Trace, by_source: dict[Source, list[int]]) -> tuple[DrawPart, ...]:
    rows = {
        row.id: (line, row)
        for line, one in traced.lines.items()
        for row in one.rows
        if row.kind != "reclass"
    }
    found = [
        DrawPart(draw, target, rows[draw][0], row.on, row.kind, row.amount, cents, compound)
        for (draw, target), (cents, compound) in by_source.items()
        for row in (rows[draw][1],)
    ]
    return tuple(sorted(found, key=lambda one: (-one.cents, one.on, one.draw, one.target)))


def _use_parts(draws: tuple[DrawPart, ...]) -> tuple[UsePart, ...]:
    cents: dict[str, int] = defaultdict(int)
    count: dict[str, int] = defaultdict(int)
    for one in draws:
        cents[one.target] += one.cents
        count[one.target] += 1
    found = [UsePart(target, sum_, count[target]) for target, sum_ in cents.items()]
    return tuple(sorted(found, key=lambda one: (-one.cents, one.target)))
