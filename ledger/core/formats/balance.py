"""Does a statement add up: the checks every format shares."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from ledger.core.formats.faults import Faults
from ledger.core.formats.types import ParsedEntry, ParsedStatement, ReadOptions
from planning.core.household_parts import AccountType
from planning.core.money import text_from_cents

_LOWERS = ("repayment", "prepayment")


def movement_cents(kind: AccountType | None, entries: Iterable[ParsedEntry]) -> int | None:
    """What the entries add to the balance, in cents; None when they cannot tell.

    Lines: draws, interest and fees less repayments. Mortgages: advances and
    charges less prepayments and the principal of payments, so None when a
    payment gives no principal. Investments: None, their closing is a market
    value. Accounts of no known kind: credits less debits.
    """
    if kind == "investment":
        return None
    total = 0
    for one in entries:
        if one.kind == "payment":
            if one.principal_cents is None:
                return None
            total -= one.principal_cents
        elif one.kind in _LOWERS or one.kind == "debit":
            total -= one.amount_cents
        else:
            total += one.amount_cents
    return total


def derived(
    kind: AccountType | None,
    opening: int | None,
    closing: int | None,
    entries: tuple[ParsedEntry, ...],
) -> tuple[int | None, int | None]:
    """Opening and closing with a missing one derived from the other and the entries."""
    moved = movement_cents(kind, entries)
    if moved is not None:
        if opening is None and closing is not None:
            opening = closing - moved
        elif closing is None and opening is not None:
            closing = opening + moved
    return opening, closing


def check_statement(one: ParsedStatement, options: ReadOptions, faults: Faults) -> None:
    """Record what is wrong with a statement as a whole.

    The sums are not tried when rows could not be read: they would only miss
    the amounts already complained of.
    """
    damaged = bool(faults.problems)
    _check_period(one, options.today, faults)
    if one.currency != "CAD":
        faults.add(
            one.line,
            "currency",
            f"the statement is in {one.currency or 'no stated currency'}",
            "The books are in Canadian dollars: import the CAD account",
        )
    _check_ids(one, faults)
    moved = movement_cents(one.kind, one.entries)
    if None in (moved, one.opening_cents, one.closing_cents) or options.accept_gap or damaged:
        return
    assert moved is not None
    assert one.opening_cents is not None
    assert one.closing_cents is not None
    gap = one.closing_cents - one.opening_cents - moved
    if gap:
        faults.add(
            one.line,
            "closing",
            f"opening {text_from_cents(one.opening_cents)} and entries "
            f"{text_from_cents(moved)} do not give closing {text_from_cents(one.closing_cents)}: "
            f"{text_from_cents(gap)} is missing",
            "Look for a missing or doubled row; --accept-gap takes the statement as it is",
        )


def _check_period(one: ParsedStatement, today: date | None, faults: Faults) -> None:
    if one.ends < one.starts:
        faults.add(one.line, "ends", "the statement ends before it starts", "Check both dates")
    elif today is not None and one.ends > today:
        faults.add(
            one.line,
            "ends",
            f"the statement ends on {one.ends}, after today ({today})",
            "Import it once the period is over",
        )
    for entry in one.entries:
        if one.starts <= one.ends and not one.starts <= entry.date <= one.ends:
            faults.add(
                entry.line,
                "date",
                f"{entry.date} lies outside the statement ({one.starts} to {one.ends})",
                "Correct the date, or import the statement that shows it",
            )


def _check_ids(one: ParsedStatement, faults: Faults) -> None:
    seen: dict[str, ParsedEntry] = {}
    for entry in one.entries:
        first = seen.setdefault(entry.external_id, entry)
        if first is not entry:
            faults.add(
                entry.line,
                "id",
                f"the id {entry.external_id!r} is already used on line {first.line}",
                "Remove the doubled row, or give each posting its own id",
            )
