"""A household after its last close, on stated assumptions: the ground a cure is tried on.

The future is written as statements, like the past, and the same engine traces
it. Nothing moves but what a scenario says: the rate of the close stays in
force, interest is posted on each month's last day and paid from own cash the
same day, and whatever interest is open is paid on the first day. So two
scenarios differ by their moves alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

from ledger.core.trace_types import Trace
from ledger.core.tracing import trace
from planning.core.line_interest import posted_interest_cents
from planning.core.months import (
    first_day,
    last_day,
    month_of,
    months_between,
    next_month,
    shift_month,
)
from planning.core.rates import rate_on
from planning.core.types import Entry, Household, Line, Split, Statement, Use

MONTHS_AHEAD = 12


@dataclass(frozen=True, slots=True)
class Move:
    """A draw or a repayment of a scenario on its first day, in cents; `splits` of a draw."""

    line: str
    kind: str
    amount: int
    splits: tuple[Split, ...] = ()


@dataclass(frozen=True, slots=True)
class Start:
    """Where the future begins: its first day, the trace and each line's rate on the eve."""

    household: Household
    day: date
    months: tuple[str, ...]
    traced: Trace
    rates: tuple[tuple[str, Decimal], ...]

    def principal(self, line: str) -> tuple[int, int, int]:
        """A line's principal by class, in cents."""
        return self.traced.lines[line].principal

    def rate(self, line: str) -> Decimal:
        """The line's yearly rate."""
        return dict(self.rates)[line]


def start_after(household: Household, through: str) -> Start | None:
    """The first day of the month after the last close, or after the latest line statement.

    None when no line has a statement, or one's rate is not known.
    """
    lines = [one for one in household.lines if household.statements_of(one.ref)]
    if not lines:
        return None
    ends = max(household.statements_of(one.ref)[-1].ends for one in lines)
    first = next_month(max(through, month_of(ends)))
    day = first_day(first)
    rates = tuple((one.ref, rate_in_force(household, one, day)) for one in lines)
    known = tuple((ref, rate) for ref, rate in rates if rate is not None)
    if len(known) < len(rates):
        return None
    return Start(
        household=household,
        day=day,
        months=months_between(first, shift_month(first, MONTHS_AHEAD - 1)),
        traced=trace(household, day - timedelta(days=1)),
        rates=known,
    )


def rate_in_force(household: Household, line: Line, day: date) -> Decimal | None:
    """A line's yearly rate on a day: the one last stated if the latest statement up to then
    states one, else prime + spread.
    """
    begun = [one for one in household.statements_of(line.ref) if one.starts <= day]
    stated = rate_on(begun[-1].rates, day) if begun else None
    if stated is not None:
        return stated
    prime = rate_on(household.prime, day)
    return None if prime is None else prime + line.spread


def played(start: Start, moves: tuple[Move, ...], new_lines: tuple[Line, ...] = ()) -> Household:
    """The household with twelve months more on every line: interest, its payment, the moves.

    On the first day, in this order: interest to date and its payment, then the
    moves as given. `new_lines` open that day with nothing owed; each carries
    the rate of the line it is named after in its draws.
    """
    old = [one for one in start.household.lines if one.ref in dict(start.rates)]
    statements: list[Statement] = []
    uses: list[Use] = []
    for line in (*old, *new_lines):
        mine = tuple(one for one in moves if one.line == line.ref)
        found, used = _line_future(start, line, mine)
        statements += found
        uses += used
    household = start.household
    return replace(
        household,
        lines=(*household.lines, *new_lines),
        statements=(*household.statements, *statements),
        uses=(*household.uses, *uses),
    )


def _line_future(
    start: Start, line: Line, moves: tuple[Move, ...]
) -> tuple[list[Statement], list[Use]]:
    known = dict(start.rates)
    owed = start.traced.lines.get(line.ref)
    rate = known.get(line.ref) or _rate_of_new(start, moves)
    entries: list[Entry] = []
    uses: list[Use] = []
    balance = opening = 0
    begins = start.day
    if owed is not None:
        past = start.household.statements_of(line.ref)
        begins = past[-1].ends + timedelta(days=1)
        balance = opening = past[-1].closing_cents
        accrued = _accrued(start, line, rate)
        unpaid = sum(owed.unpaid) + accrued
        entries.append(_entry(line, start.day, "interest", accrued, "open"))
        if unpaid:
            entries.append(_entry(line, start.day, "repayment", unpaid, "paid"))
        balance += accrued - unpaid
    for number, move in enumerate(moves):
        entry = _entry(line, start.day, move.kind, move.amount, f"move-{number}")
        entries.append(entry)
        balance += move.amount if move.kind == "draw" else -move.amount
        if move.splits:
            uses.append(Use(entry.id, move.splits))
    statements: list[Statement] = []
    since = start.day
    for month in start.months:
        ends = last_day(month)
        interest = posted_interest_cents([(since, ends, balance, rate)], line.day_basis)
        entries.append(_entry(line, ends, "interest", interest, "interest"))
        if interest:
            entries.append(_entry(line, ends, "repayment", interest, "paid"))
        statements.append(
            Statement(
                account=line.ref,
                starts=begins,
                ends=ends,
                opening_cents=opening,
                closing_cents=balance,
                limit_cents=None,
                value_cents=None,
                rates=((begins, rate),),
                entries=tuple(entries),
            )
        )
        entries, opening, begins, since = [], balance, ends + timedelta(days=1), ends
    return statements, uses


def _rate_of_new(start: Start, moves: Iterable[Move]) -> Decimal:
    """A sub-account's rate: that of the line it takes over, else the first line's."""
    known = dict(start.rates)
    named = [one.to for move in moves for one in move.splits if one.use == "refinance"]
    return next((known[ref] for ref in named if ref in known), start.rates[0][1])


def _accrued(start: Start, line: Line, rate: Decimal) -> int:
    """Interest not posted yet on the first day: the nights since the last posting, in cents."""
    traced = start.traced.lines[line.ref]
    first = start.household.statements_of(line.ref)[0].starts
    since = max((one.on for one in traced.postings), default=first)
    changes = sorted({since, start.day, *(one.on for one in traced.rows if one.on > since)})
    stretches: list[tuple[date, date, int, Decimal]] = []
    for one, following in pairwise(changes):
        balance = next((row.balance for row in reversed(traced.rows) if row.on <= one), 0)
        stretches += [
            (night, after, balance, held)
            for night, after, held in _by_rate(start, line, one, following)
        ]
    return posted_interest_cents(stretches or [(since, start.day, 0, rate)], line.day_basis)


def _by_rate(
    start: Start, line: Line, first: date, after: date
) -> list[tuple[date, date, Decimal]]:
    """Stretches of one rate between two days."""
    found: list[tuple[date, date, Decimal]] = []
    last = start.household.statements_of(line.ref)[-1].ends
    day = first
    while day < after:
        held = start.rate(line.ref)
        rate = held if day > last else rate_in_force(start.household, line, day) or held
        night = day + timedelta(days=1)
        if found and found[-1][2] == rate:
            found[-1] = (found[-1][0], night, rate)
        else:
            found.append((day, night, rate))
        day = night
    return found


def _entry(line: Line, day: date, kind: str, amount: int, name: str) -> Entry:
    return Entry(
        id=f"{line.ref}-ahead-{day:%Y-%m-%d}-{name}", date=day, kind=kind, amount_cents=amount
    )
