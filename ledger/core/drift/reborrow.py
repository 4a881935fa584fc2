"""Freed principal that was not re-borrowed, or late."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from ledger.core.drift.context import DriftContext
from ledger.core.drift.findings import Finding, step
from ledger.core.facility_book import FacilityBook, days_back
from planning.core.money import round_half_up
from planning.core.months import month_of
from planning.core.types import Entry, Reborrow


def missed_reborrow(context: DriftContext) -> tuple[Finding, ...]:
    """Room stood open through the month's last days.

    Trigger: the smallest end-of-day room of the re-borrow line over the last 10
    days, less the reserve, is at least 50.00. Dollars: that much room.
    """
    plan, limits = context.household.plan, context.thresholds
    if plan is None or plan.reborrow is None or context.month < month_of(plan.starts):
        return ()
    reborrow = plan.reborrow
    days = days_back(context.as_of, limits.missed_reborrow_days)
    rooms = [context.book.room_on(reborrow.line, day) for day in days]
    known = [one for one in rooms if one is not None]
    if len(known) < len(rooms):
        return ()
    idle = min(known) - _reserve(context, reborrow, plan.starts)
    if idle < limits.missed_reborrow_cents:
        return ()
    evidence = tuple(one.id for one in context.book.freed if context.in_month(one.on))
    return (
        Finding(
            code="missed-reborrow",
            key=reborrow.line,
            dollars_cents=idle,
            severity="fix",
            life="state",
            evidence=evidence,
            cost_per_year_cents=context.lost_tax(idle, reborrow.line),
            remedy=(
                step(
                    "Draw {amount} on {line} and send it the same day to {account}.",
                    amount=idle,
                    line=reborrow.line,
                    account=reborrow.into,
                ),
                step("Keep the purchase confirmation and record the use of the draw."),
                step("If the household chose to wait, record that choice and its reason."),
            ),
        ),
    )


def _reserve(context: DriftContext, reborrow: Reborrow, since: date) -> int:
    """The plan's reserve; a share below 1 keeps the rest of the principal freed as well."""
    kept = 1 - Fraction(reborrow.share)
    if kept == 0:
        return reborrow.reserve_cents
    freed = context.book.freed_between(since, context.as_of)
    return reborrow.reserve_cents + round_half_up(kept * freed)


def late_reborrow(context: DriftContext) -> tuple[Finding, ...]:
    """A draw of the month used room freed long before, and nothing stands open now.

    Freed principal is used newest first. Trigger: at least 50.00 of what the
    draw uses was freed more than 10 days before it, and the draw is not wholly
    ineligible. Dollars: the draw.
    """
    plan = context.household.plan
    if plan is None or plan.reborrow is None or missed_reborrow(context):
        return ()
    line = plan.reborrow.line
    found = []
    for used in draws_from_room(context.book, line, context.as_of):
        late = used.older_than(context.thresholds.late_reborrow_days)
        if not context.in_month(used.draw.date) or late < context.thresholds.late_reborrow_cents:
            continue
        if context.trace.wholly_ineligible(used.draw.id):
            continue
        found.append(
            Finding(
                code="late-reborrow",
                key=used.draw.id,
                dollars_cents=used.draw.amount_cents,
                severity="note",
                life="month",
                evidence=(used.draw.id, *dict.fromkeys(used.sources)),
                cost_per_year_cents=0,
                remedy=(
                    step(
                        "{late} of this draw waited more than {days} days since the principal "
                        "was paid; set the draw for the day of the mortgage payment.",
                        late=late,
                        days=str(context.thresholds.late_reborrow_days),
                    ),
                ),
            )
        )
    return tuple(found)


@dataclass(frozen=True, slots=True)
class RoomUsed:
    """A draw and the freed principal it used: (days waited, cents) newest first."""

    draw: Entry
    waited: tuple[tuple[int, int], ...]
    sources: tuple[str, ...]

    def older_than(self, days: int) -> int:
        """Cents that had waited more than so many days."""
        return sum(cents for waited, cents in self.waited if waited > days)


def draws_from_room(book: FacilityBook, line: str, as_of: date) -> list[RoomUsed]:
    """Every draw of a line up to a day with the freed principal it used.

    Principal of a date counts before the draws of that date; the newest is used
    first; what a draw takes beyond the freed principal is ignored.
    """
    waiting = [(one.on, one.freed, one.id) for one in reversed(book.freed) if one.freed > 0]
    stack: list[tuple[date, int, str]] = []
    result: list[RoomUsed] = []
    for draw in book.entries(line, "draw", as_of):
        while waiting and waiting[-1][0] <= draw.date:
            stack.append(waiting.pop())
        left = draw.amount_cents
        waited: list[tuple[int, int]] = []
        sources: list[str] = []
        while left and stack:
            freed_on, cents, source = stack.pop()
            taken = min(left, cents)
            left -= taken
            waited.append(((draw.date - freed_on).days, taken))
            sources.append(source)
            if taken < cents:
                stack.append((freed_on, cents - taken, source))
        result.append(RoomUsed(draw, tuple(waited), tuple(sources)))
    return result
