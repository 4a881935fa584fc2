"""The actual month row, read from statements and trace under the plan's keys.

What each key means is written in docs/reference/month-row.md. Mortgage
balances by day come from `mortgage_facts`, the facility's room from
`facility_book`.
"""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import date, timedelta

from ledger.core.facility_book import FacilityBook
from ledger.core.portfolio import value_on
from ledger.core.trace_types import Classes
from ledger.core.trace_view import MonthFlows, TraceView
from planning.core.months import first_day, last_day
from planning.core.plan_types import PlanRow
from planning.core.types import Household

_NOTHING = {one.name: 0 for one in fields(PlanRow) if one.name != "month"}


def actual_row(household: Household, book: FacilityBook, trace: TraceView, month: str) -> PlanRow:
    """One month as the statements tell it, as of its last day. Amounts in cents."""
    first, last = first_day(month), last_day(month)
    eve = first - timedelta(days=1)
    row = PlanRow(month=month, **_NOTHING)
    row = _mortgage_part(row, book, eve, last)
    row = _line_part(row, book, trace, eve, last)
    row = _portfolio_part(row, household, book, eve, last)
    limit, room = limit_and_room(book, last)
    return replace(row, limit=limit, room=room)


def _mortgage_part(row: PlanRow, book: FacilityBook, eve: date, last: date) -> PlanRow:
    facts = [
        one
        for mortgage in book.mortgages.values()
        for one in mortgage.facts
        if eve < one.on <= last
    ]
    payments = [one for one in facts if one.kind == "payment"]
    return replace(
        row,
        mortgage_opening=book.mortgage_on(eve),
        payment=sum(one.amount for one in payments),
        interest=sum(one.interest for one in payments),
        principal=sum(one.principal for one in payments),
        prepayment=sum(one.amount for one in facts if one.kind == "prepayment"),
        mortgage_closing=book.mortgage_on(last),
        room_freed=book.freed_between(eve + timedelta(days=1), last),
    )


def _line_part(
    row: PlanRow, book: FacilityBook, trace: TraceView, eve: date, last: date
) -> PlanRow:
    flows = trace.months.get(row.month, MonthFlows())
    eligible, unsupported, ineligible = _classes(trace)
    return replace(
        row,
        draw=flows.draw,
        interest_draw=flows.interest_draw,
        dam_draw=flows.dam_draw,
        line_opening=book.lines_opening(eve + timedelta(days=1), last),
        line_interest=flows.posted,
        line_interest_paid=flows.paid,
        line_closing=book.lines_on(last),
        eligible=eligible,
        unsupported=unsupported,
        ineligible=ineligible,
        deductible=flows.deductible,
    )


def _classes(trace: TraceView) -> Classes:
    """Principal and unpaid interest of all lines by class."""
    first, second, third = (
        sum(line.principal[index] + line.unpaid[index] for line in trace.lines.values())
        for index in range(3)
    )
    return first, second, third


def _portfolio_part(
    row: PlanRow, household: Household, book: FacilityBook, eve: date, last: date
) -> PlanRow:
    own = [one.ref for one in household.investments if one.kind == "non-registered"]
    entries = [
        entry
        for ref in own
        for statement in book.statements.get(ref, ())
        for entry in statement.entries
        if eve < entry.date <= last
    ]
    leaving = [one for one in entries if one.kind in ("withdrawal", "transfer-in-kind")]
    within = {one.id: one.amount_cents for one in leaving if one.to in own}
    contribution = sum(
        one.amount_cents
        for one in entries
        if one.kind == "contribution" and one.source not in within
    )
    distribution = sum(one.amount_cents for one in entries if one.kind == "distribution")
    left = sum(one.amount_cents for one in leaving) - sum(within.values())
    opening = sum(value_on(book.statements.get(ref, ()), eve) for ref in own)
    closing = sum(value_on(book.statements.get(ref, ()), last) for ref in own)
    return replace(
        row,
        contribution=contribution,
        distribution=distribution,
        portfolio_closing=closing,
        growth=closing - opening - contribution - distribution + left,
    )


def limit_and_room(book: FacilityBook, day: date) -> tuple[int, int]:
    """Limit and room of the facility at the end of a day.

    Where every line states a limit, the sums of the stated limits and of the
    lines' own room; else the computed limit and what all lines leave of it.
    Both 0 where neither is known.
    """
    lines = [ref for ref in book.lines if ref in book.statements]
    stated = [book.stated_limit_on(ref, day) for ref in lines]
    known = [one for one in stated if one is not None]
    if known and len(known) == len(stated):
        return sum(known), sum(book.room_on(ref, day) or 0 for ref in lines)
    computed = book.computed_limit_on(day)
    if computed is None:
        return 0, 0
    return computed, max(0, computed - book.lines_on(day))


def variance(actual: PlanRow, plan: PlanRow) -> dict[str, int]:
    """Actual less plan, key by key, in cents."""
    return {key: getattr(actual, key) - getattr(plan, key) for key in _NOTHING}
