"""What the statements say of one mortgage: every posting split, every day's balance.

A statement is the truth about balances. Where its payments do not state their
principal, the principal of the statement is what its balances imply, and it is
shared over the payments so that each one's interest is in proportion to what
the contract charges; when the contract agrees with the lender, to the cent.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from ledger.core.contract import periodic_of, rate_at
from ledger.core.steps import Steps
from planning.core.amortization import interest_cents, payments_before, scheduled_date
from planning.core.money import prorate
from planning.core.types import Entry, Mortgage, RateSteps, Statement

EARLY_DAYS = 5
"""A payment counts for the scheduled date it precedes by at most this many days."""


@dataclass(frozen=True, slots=True)
class MortgageFact:
    """One change of a mortgage's balance, in cents.

    `kind` is the entry's kind, or `gap` (a statement opens elsewhere than the
    one before it closed) or `break` (its entries do not lead to its closing).
    `principal` is what the balance falls by: negative for charges, advances and
    payments below the interest. `interest` is that of a payment.
    """

    id: str
    on: date
    mortgage: str
    kind: str
    amount: int
    interest: int
    principal: int
    balance: int


@dataclass(frozen=True, slots=True)
class MortgageBook:
    """A mortgage's statements read through. `known_since` is the first statement's start."""

    mortgage: Mortgage
    statements: tuple[Statement, ...]
    facts: tuple[MortgageFact, ...]
    balances: Steps
    known_since: date | None

    def balance_on(self, day: date) -> int:
        """End-of-day balance; the first statement's opening before it, the last one after."""
        return self.balances.on(day)


def mortgage_book(
    mortgage: Mortgage, statements: tuple[Statement, ...], prime: RateSteps, assumed_cents: int
) -> MortgageBook:
    """Read a mortgage's statements, given in date order.

    `assumed_cents` is its balance when there is no statement at all.
    """
    facts: list[MortgageFact] = []
    opening = statements[0].opening_cents if statements else assumed_cents
    balance = opening
    for statement in statements:
        if statement.opening_cents != balance:
            facts.append(_jump("gap", mortgage.ref, statement.starts, balance, statement))
        found = _statement_facts(mortgage, statement, prime)
        facts += found
        balance = found[-1].balance if found else statement.opening_cents
        if balance != statement.closing_cents:
            facts.append(_jump("break", mortgage.ref, statement.ends, balance, statement))
        balance = statement.closing_cents
    steps = Steps.of(((one.on, one.balance) for one in facts), opening)
    since = statements[0].starts if statements else None
    return MortgageBook(mortgage, statements, tuple(facts), steps, since)


def _jump(kind: str, ref: str, day: date, before: int, statement: Statement) -> MortgageFact:
    after = statement.opening_cents if kind == "gap" else statement.closing_cents
    return MortgageFact(
        f"{ref}-{kind}-{day}", day, ref, kind, abs(before - after), 0, before - after, after
    )


def in_date_order(entries: tuple[Entry, ...]) -> tuple[Entry, ...]:
    """Entries by date; those of one date keep the statement's sequence."""
    return tuple(sorted(entries, key=lambda one: one.date))


def _statement_facts(
    mortgage: Mortgage, statement: Statement, prime: RateSteps
) -> list[MortgageFact]:
    entries = in_date_order(statement.entries)
    interests = _derived_interest(mortgage, statement, entries, prime)
    facts: list[MortgageFact] = []
    balance = statement.opening_cents
    for entry in entries:
        interest = interests.get(entry.id, 0)
        principal = _lowers_by(entry, interest)
        balance -= principal
        facts.append(
            MortgageFact(
                entry.id,
                entry.date,
                mortgage.ref,
                entry.kind,
                entry.amount_cents,
                interest,
                principal,
                balance,
            )
        )
    return facts


def _lowers_by(entry: Entry, interest: int) -> int:
    """What an entry takes off the balance, given a payment's interest."""
    if entry.kind == "payment":
        return entry.amount_cents - interest
    return entry.amount_cents if entry.kind == "prepayment" else -entry.amount_cents


def states_principal(statement: Statement) -> bool:
    """Whether every payment of the statement gives its principal."""
    return all(
        one.principal_cents is not None for one in statement.entries if one.kind == "payment"
    )


def _derived_interest(
    mortgage: Mortgage, statement: Statement, entries: tuple[Entry, ...], prime: RateSteps
) -> dict[str, int]:
    """Interest of each payment, stated or derived from the balances."""
    interests: dict[str, int] = {}
    expected: dict[str, int] = {}
    balance, left = statement.opening_cents, statement.opening_cents - statement.closing_cents
    for entry in entries:
        if entry.kind != "payment":
            balance -= _lowers_by(entry, 0)
            left -= _lowers_by(entry, 0)
        elif entry.principal_cents is not None:
            interests[entry.id] = entry.amount_cents - entry.principal_cents
            balance -= entry.principal_cents
            left -= entry.principal_cents
        else:
            expected[entry.id] = _expected_interest(mortgage, entry, balance, prime)
            balance -= entry.amount_cents - expected[entry.id]
    if expected:
        unknown = [one for one in entries if one.id in expected]
        interests |= _shared_interest(unknown, left, list(expected.values()))
    return interests


def _shared_interest(unknown: list[Entry], principal: int, weights: list[int]) -> dict[str, int]:
    """Share what the balances leave over payments that state no principal."""
    paid = [one.amount_cents for one in unknown]
    interest = sum(paid) - principal
    if interest < 0:
        # The balance fell by more than was paid; no interest can be read from it.
        parts = prorate(principal, paid)
        return {one.id: one.amount_cents - part for one, part in zip(unknown, parts, strict=True)}
    shares = prorate(interest, weights)
    return dict(zip((one.id for one in unknown), shares, strict=True))


def _expected_interest(mortgage: Mortgage, entry: Entry, balance: int, prime: RateSteps) -> int:
    if entry.interest_cents is not None:
        return entry.interest_cents
    owed = max(0, balance)
    rate = rate_at(mortgage, scheduled_index(mortgage, entry.date), prime)
    if rate is None:
        return owed
    return interest_cents(owed, Fraction(periodic_of(mortgage, rate)))


def scheduled_index(mortgage: Mortgage, day: date) -> int:
    """The scheduled payment that one made on `day` is for: from 5 days before it to 6 before
    the next.
    """
    index = payments_before(mortgage, day)
    # The last scheduled date before `day`, on it, or the next one when it is near.
    if (scheduled_date(mortgage, index) - day).days <= EARLY_DAYS:
        return index
    return max(0, index - 1)
