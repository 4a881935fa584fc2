"""The facility by day, read from statements: mortgages, lines, limits, room, freed principal.

Nothing here depends on what a draw was used for, so one book serves every
month's close; only what is dated on or before the close is asked of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from ledger.core.mortgage_facts import MortgageBook, MortgageFact, in_date_order, mortgage_book
from ledger.core.steps import Steps
from planning.core.room import Limits, opening_excess_cents, principal_to_excess_cents
from planning.core.types import Entry, Household, Statement

FREEING = ("payment", "prepayment")


@dataclass(frozen=True, slots=True)
class Freed:
    """Principal paid on a day and the part of it that freed room, in cents."""

    id: str
    on: date
    mortgage: str
    principal: int
    freed: int


@dataclass(frozen=True, slots=True)
class FacilityBook:
    """Everything the statements say of the facility, by day. Amounts in cents.

    `mortgages_known` is False when some mortgage has neither a statement nor an
    opening in the plan: computed limits then mean nothing and are None.
    """

    household: Household
    statements: dict[str, tuple[Statement, ...]]
    mortgages: dict[str, MortgageBook]
    lines: dict[str, Steps]
    mortgage_total: Steps
    excess: Steps
    freed: tuple[Freed, ...]
    limits: Limits
    mortgages_known: bool

    def mortgage_on(self, day: date) -> int:
        """M: what all mortgages owe at the end of a day."""
        return self.mortgage_total.on(day)

    def line_on(self, line: str, day: date) -> int:
        """What one line owes at the end of a day; nothing before its first statement."""
        return self.lines[line].on(day)

    def lines_on(self, day: date) -> int:
        """H: what all lines owe at the end of a day."""
        return sum(one.on(day) for one in self.lines.values())

    def lines_opening(self, first: date, last: date) -> int:
        """What all lines owe as `first` begins, openings of those that begin by `last` included."""
        begun = [
            found[0].opening_cents
            for ref in self.lines
            if (found := self.statements.get(ref)) and first <= found[0].starts <= last
        ]
        return self.lines_on(first - timedelta(days=1)) + sum(begun)

    def statement_covering(self, account: str, day: date) -> Statement | None:
        """The account's statement whose days include this one."""
        for one in reversed(self.statements.get(account, ())):
            if one.starts <= day <= one.ends:
                return one
        return None

    def stated_limit_on(self, line: str, day: date) -> int | None:
        """The limit stated for a day: it holds for every day of its statement."""
        covering = self.statement_covering(line, day)
        return None if covering is None else covering.limit_cents

    def unclipped_limit_on(self, day: date) -> int | None:
        """min(line_cap, G - M), which may be below zero."""
        if not self.mortgages_known:
            return None
        whole = min(self.limits.registered_cents, self.limits.cap65_cents + self.excess.on(day))
        return min(self.limits.line_cap_cents, whole - self.mortgage_on(day))

    def computed_limit_on(self, day: date) -> int | None:
        """max(0, min(line_cap, G - M)) at the end of a day."""
        found = self.unclipped_limit_on(day)
        return None if found is None else max(0, found)

    def room_on(self, line: str, day: date) -> int | None:
        """Room of one line at the end of a day.

        The stated limit less the line's own balance; without one the computed
        limit less every line's balance. None when neither is known.
        """
        stated = self.stated_limit_on(line, day)
        if stated is not None:
            return max(0, stated - self.line_on(line, day))
        computed = self.computed_limit_on(day)
        return None if computed is None else max(0, computed - self.lines_on(day))

    def freed_between(self, first: date, last: date) -> int:
        """Principal freed from `first` to `last`, both included, net of the part sent to A."""
        return sum(one.freed for one in self.freed if first <= one.on <= last)

    def entries(self, account: str, kind: str, as_of: date) -> list[Entry]:
        """The account's entries of a kind dated up to a day, in order."""
        return [
            entry
            for statement in self.statements.get(account, ())
            for entry in in_date_order(statement.entries)
            if entry.kind == kind and entry.date <= as_of
        ]


def facility_book(household: Household) -> FacilityBook:
    """Read every statement of the household once."""
    statements: dict[str, tuple[Statement, ...]] = {}
    for one in household.statements:
        statements.setdefault(one.account, ())
    for account in statements:
        statements[account] = household.statements_of(account)
    planned = dict(household.plan.opening) if household.plan else {}
    mortgages = {
        one.ref: mortgage_book(
            one, statements.get(one.ref, ()), household.prime, planned.get(one.ref, 0)
        )
        for one in household.mortgages
    }
    lines = {one.ref: _line_balances(statements.get(one.ref, ())) for one in household.lines}
    owed = sum(one.balances.before for one in mortgages.values())
    drawn = sum(statements[ref][0].opening_cents for ref in lines if ref in statements)
    start = opening_excess_cents(household.facility, owed, drawn)
    total, excess, freed = _walk(household, mortgages, owed, start)
    return FacilityBook(
        household=household,
        statements=statements,
        mortgages=mortgages,
        lines=lines,
        mortgage_total=total,
        excess=excess,
        freed=freed,
        limits=Limits.of(household.facility),
        mortgages_known=all(
            one.ref in statements or one.ref in planned for one in household.mortgages
        ),
    )


def _line_balances(statements: tuple[Statement, ...]) -> Steps:
    """A line's end-of-day balances; the last one stands between statements.

    Nothing is owed before the first statement: its opening is a fact of the
    day it starts, which no earlier close may see.
    """
    changes: list[tuple[date, int]] = []
    for statement in statements:
        balance = statement.opening_cents
        changes.append((statement.starts, balance))
        for entry in in_date_order(statement.entries):
            balance += -entry.amount_cents if entry.kind == "repayment" else entry.amount_cents
            changes.append((entry.date, balance))
        changes.append((statement.ends, statement.closing_cents))
    return Steps.of(changes, 0)


def _walk(
    household: Household, mortgages: dict[str, MortgageBook], owed: int, excess: int
) -> tuple[Steps, Steps, tuple[Freed, ...]]:
    """All mortgages together, by date and in listing order: M, A and the principal freed.

    A jump between or at the end of statements moves M alone: it frees nothing
    and leaves A as it was.
    """
    rule = household.facility.excess_rule
    facts: list[MortgageFact] = [one for book in mortgages.values() for one in book.facts]
    facts.sort(key=lambda one: one.on)
    opening, start = owed, excess
    totals: list[tuple[date, int]] = []
    parts: list[tuple[date, int]] = []
    freed: list[Freed] = []
    for fact in facts:
        if fact.kind in FREEING and fact.principal > 0:
            sent = principal_to_excess_cents(rule, fact.principal, excess, owed)
            excess -= sent
            parts.append((fact.on, excess))
            freed.append(
                Freed(fact.id, fact.on, fact.mortgage, fact.principal, fact.principal - sent)
            )
        owed -= fact.principal
        totals.append((fact.on, owed))
    return Steps.of(totals, opening), Steps.of(parts, start), tuple(freed)


def days_back(last: date, count: int) -> tuple[date, ...]:
    """The last `count` days up to and including `last`, in order."""
    return tuple(last - timedelta(days=back) for back in range(count - 1, -1, -1))
