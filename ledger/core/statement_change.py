"""What a parsed statement changes in the book: nothing, new days, or a restated period.

The book holds one statement a day and account. A file that shows days already
booked must agree with them; then only the days that are new are taken. A file
for exactly a booked period that says something else restates that period.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from hashlib import sha256

from ledger.core.formats.balance import movement_cents
from ledger.core.formats.types import ParsedEntry, ParsedStatement
from planning.core.types import Entry, Statement

DAY = timedelta(days=1)
MOST_ID = 120


class CannotBook(Exception):  # noqa: N818 - a finding about the file, turned into a Problem
    """Why a statement cannot be booked as it is, and what to do: (field, message, remedy)."""

    def __init__(self, field: str, message: str, remedy: str) -> None:
        super().__init__(message)
        self.field = field
        self.message = message
        self.remedy = remedy


@dataclass(frozen=True, slots=True)
class Change:
    """Statements to book, whether they restate a booked period, and the count of rows.

    `new` rows are not in the book as they stand, `here` rows are.
    """

    book: tuple[Statement, ...]
    restates: bool
    new: int
    here: int


def entry_id(account: str, external_id: str) -> str:
    """The id of a posting in the household: unique, and the same at every import.

    Banks' ids are unique within an account only, so the account's reference
    goes before them, unless the id already begins with it. An id too long for the
    book is replaced by its digest.
    """
    start = f"{account}-"
    found = external_id if external_id.startswith(start) else f"{start}{external_id}"
    if len(found) <= MOST_ID:
        return found
    return f"{start}{sha256(external_id.encode()).hexdigest()[:40]}"


def statement_of(one: ParsedStatement, account: str, opening: int, closing: int) -> Statement:
    """The parsed statement as the household's own, under an account's reference."""
    return Statement(
        account=account,
        starts=one.starts,
        ends=one.ends,
        opening_cents=opening,
        closing_cents=closing,
        limit_cents=one.limit_cents,
        value_cents=one.value_cents,
        rates=one.rates,
        entries=tuple(_entry_of(entry, account) for entry in one.entries),
    )


def _entry_of(one: ParsedEntry, account: str) -> Entry:
    return Entry(
        id=entry_id(account, one.external_id),
        date=one.date,
        kind=one.kind,
        amount_cents=one.amount_cents,
        interest_cents=one.interest_cents,
        principal_cents=one.principal_cents,
        source=one.source,
        of=one.of,
        paid=one.paid,
        to=one.to,
        proceeds_cents=one.proceeds_cents,
        cost_fraction=one.cost_fraction,
    )


def balances_of(one: ParsedStatement, booked: Sequence[Statement]) -> tuple[int, int]:
    """Opening and closing in cents; one the file leaves open follows from the book.

    An open opening is the closing of the statement that ends the day before;
    an open closing follows from it and the entries. Raises CannotBook when the
    book does not tell either.
    """
    opening, closing = one.opening_cents, one.closing_cents
    if opening is None:
        same = next((s for s in booked if (s.starts, s.ends) == (one.starts, one.ends)), None)
        before = next((s for s in booked if s.ends == one.starts - DAY), None)
        if same is not None:
            opening = same.opening_cents
        elif before is not None:
            opening = before.closing_cents
    if opening is None:
        raise CannotBook(
            "opening",
            "the file gives no opening balance and no statement ends the day before",
            "Import the earlier statement first, or write the opening balance into the file",
        )
    if closing is None:
        moved = movement_cents(one.kind, one.entries)
        if moved is None:
            raise CannotBook(
                "closing", "the file gives no closing balance", "Write it into the file"
            )
        closing = opening + moved
    return opening, closing


def change(one: Statement, booked: Sequence[Statement], kind: str) -> Change:
    """Compare a statement with the account's booked ones. Raises CannotBook."""
    touching = sorted(
        (s for s in booked if s.starts <= one.ends and one.starts <= s.ends),
        key=lambda s: s.starts,
    )
    if not touching:
        return Change((one,), restates=False, new=len(one.entries), here=0)
    same = touching[0]
    if (same.starts, same.ends) == (one.starts, one.ends):
        return _same_period(one, same)
    known = {entry for s in touching for entry in s.entries}
    covered = [entry for entry in one.entries if _inside(entry.date, touching)]
    booked_rows = [entry for entry in known if one.starts <= entry.date <= one.ends]
    if set(covered) != set(booked_rows):
        first, last = touching[0].starts, touching[-1].ends
        raise CannotBook(
            "period",
            f"the file overlaps booked statements ({first} to {last}) and differs from them",
            "Export exactly the booked period to restate it, or only the days after it",
        )
    return _new_days(one, touching, kind, len(covered))


def _inside(day: date, statements: Iterable[Statement]) -> bool:
    return any(s.starts <= day <= s.ends for s in statements)


def _same_period(one: Statement, same: Statement) -> Change:
    here = len(set(one.entries) & set(same.entries))
    if _facts(one) == _facts(same):
        return Change((), restates=False, new=0, here=here)
    return Change((one,), restates=True, new=len(one.entries) - here, here=here)


def _facts(one: Statement) -> tuple[object, ...]:
    return (
        one.opening_cents,
        one.closing_cents,
        one.limit_cents,
        one.value_cents,
        one.rates,
        one.entries,
    )


def _new_days(one: Statement, touching: Sequence[Statement], kind: str, here: int) -> Change:
    """The uncovered stretches of a file that agrees with what is booked."""
    book: list[Statement] = []
    first = one.starts
    balance: int | None = one.opening_cents
    for s in (*touching, None):
        last = s.starts - DAY if s is not None else one.ends
        if first <= last:
            if kind == "investment":
                raise CannotBook(
                    "period",
                    "the file shows booked days and new ones, and its value is of the last day",
                    "Export only the days after the booked statement",
                )
            book.append(_stretch(one, first, last, balance, s))
        if s is not None:
            first, balance = s.ends + DAY, s.closing_cents
    new = sum(len(s.entries) for s in book)
    return Change(tuple(book), restates=False, new=new, here=here)


def _stretch(
    one: Statement, first: date, last: date, opening: int | None, then: Statement | None
) -> Statement:
    """The days `first` to `last` of a statement, balanced from what comes before."""
    assert opening is not None
    closing = then.opening_cents if then is not None else one.closing_cents
    steps = [(day, rate) for day, rate in one.rates if day <= last]
    before = [rate for day, rate in steps if day <= first]
    rates = tuple((day, rate) for day, rate in steps if day > first)
    if before:
        rates = ((first, before[-1]), *rates)
    return replace(
        one,
        starts=first,
        ends=last,
        opening_cents=opening,
        closing_cents=closing,
        rates=rates,
        entries=tuple(entry for entry in one.entries if first <= entry.date <= last),
    )
