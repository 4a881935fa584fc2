"""From a trace to what the close, the report and the plan read of it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date
from itertools import accumulate

from ledger.core.steps import Steps
from ledger.core.trace_types import LineTrace, Trace
from ledger.core.trace_view import LineView, MonthFlows, TraceView
from ledger.core.tracing import trace
from planning.core.money import text_from_cents
from planning.core.months import month_of
from planning.core.plan_types import OpeningClasses
from planning.core.types import CLASSES, Household

_DAM_USES = {"rental": "rental-expense", "business": "business-expense"}


def view_of(household: Household, traced: Trace) -> TraceView:
    """The parts of a trace that a close looks at."""
    by_advance = household.facility.capitalised_interest == "paid-by-advance"
    return TraceView(
        lines={
            ref: _line_view(line, _ineligible_by_day(traced, ref, by_advance=by_advance))
            for ref, line in traced.lines.items()
            if any(one.starts <= traced.as_of for one in household.statements_of(ref))
        },
        draws=traced.draws,
        leaks=traced.leaks,
        overstated=tuple((one.id, one.on, one.excess) for one in traced.overstated),
        months=month_flows(household, traced),
    )


def _ineligible_by_day(traced: Trace, ref: str, *, by_advance: bool) -> Steps:
    """A line's ineligible principal at the end of every day.

    Draws and leaks add to it, repaid principal takes from it; interest that is
    paid by its own advance joins it on posting.
    """
    moves = [(one.on, one.classes[2]) for one in traced.draws if one.line == ref]
    moves += [(one.on, -one.classes[2]) for one in traced.repaid if one.line == ref]
    moves += [(one.on, cents) for one in traced.leaks for line, cents in one.by_line if line == ref]
    if by_advance:
        moves += [(one.on, one.classes[2]) for one in traced.payments if one.line == ref]
    moves.sort(key=lambda one: one[0])
    sums = accumulate(cents for _, cents in moves)
    return Steps.of(((day, total) for (day, _), total in zip(moves, sums, strict=True)), 0)


def _line_view(line: LineTrace, ineligible: Steps) -> LineView:
    held = {one.name: getattr(line, one.name) for one in fields(line)}
    return LineView(**held, ineligible=ineligible)


@dataclass(slots=True)
class _Sums:
    draw: int = 0
    interest_draw: int = 0
    dam_draw: int = 0
    posted: int = 0
    paid: int = 0
    deductible: int = 0

    def frozen(self) -> MonthFlows:
        """The sums as a value."""
        return MonthFlows(
            self.draw, self.interest_draw, self.dam_draw, self.posted, self.paid, self.deductible
        )


def month_flows(household: Household, traced: Trace) -> Mapping[str, MonthFlows]:
    """Draws, interest and deduction of every month that had any, all lines together."""
    sums: dict[str, _Sums] = defaultdict(_Sums)
    payable = household.facility.interest_method == "payable"
    by_advance = household.facility.capitalised_interest == "paid-by-advance"
    parts = _parts_by_draw(household)
    for line in traced.lines.values():
        for row in line.rows:
            if row.kind == "draw":
                month, part = sums[month_of(row.on)], parts.get(row.id, _Parts())
                month.interest_draw += part.interest
                month.dam_draw += part.dam
                month.draw += row.amount - part.interest - part.dam
        for posting in line.postings:
            month = sums[month_of(posting.on)]
            month.posted += posting.posted
            if by_advance:
                month.interest_draw += posting.posted
            if payable:
                month.deductible += posting.classes[0] - posting.compound[0]
    for paid in traced.payments:
        month = sums[month_of(paid.on)]
        month.paid += sum(paid.classes)
        month.deductible += paid.compound[0] if payable else paid.classes[0]
    return {name: one.frozen() for name, one in sums.items()}


@dataclass(frozen=True, slots=True)
class _Parts:
    """What of a draw paid line interest, and what of it the plan's dammed expenses."""

    interest: int = 0
    dam: int = 0


def _parts_by_draw(household: Household) -> dict[str, _Parts]:
    plan = household.plan
    dam_use = _DAM_USES[plan.dam.kind] if plan is not None and plan.dam is not None else None
    return {
        use.draw: _Parts(
            sum(one.amount_cents for one in use.splits if one.use == "line-interest"),
            sum(one.amount_cents for one in use.splits if one.use == dam_use),
        )
        for use in household.uses
    }


def opening_classes(household: Household, day: date) -> dict[str, OpeningClasses]:
    """The classes and targets of every line whose statements reach the evening of `day`."""
    reached = {
        line.ref
        for line in household.lines
        if any(one.starts <= day <= one.ends for one in household.statements_of(line.ref))
    }
    if not reached:
        return {}
    traced = trace(household, day)
    return {
        ref: OpeningClasses(
            line.classes[0], line.classes[1], line.classes[2], tuple(line.targets.items())
        )
        for ref, line in traced.lines.items()
        if ref in reached
    }


def line_rows(traced: Trace, ref: str) -> list[dict[str, str]]:
    """A line's entries as the report writes them: signed change of each class, balance after."""
    return [
        {
            "id": row.id,
            "date": row.on.isoformat(),
            "kind": row.kind,
            "amount": text_from_cents(row.amount),
            **{
                name: text_from_cents(cents)
                for name, cents in zip(CLASSES, row.change, strict=True)
            },
            "balance": text_from_cents(row.balance),
        }
        for row in traced.lines[ref].rows
    ]
