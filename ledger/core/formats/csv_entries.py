"""Entries from CSV rows: kinds by a kind column, else by direction and words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from ledger.core.formats import values
from ledger.core.formats.csv_layout import Row
from ledger.core.formats.csv_signs import Direction, Posting
from ledger.core.formats.csv_text import unguarded
from ledger.core.formats.faults import Faults, shown
from ledger.core.formats.types import KINDS, PAID, WITHDRAWAL_SOURCES, ParsedEntry
from ledger.core.formats.words import (
    KIND_WORDS,
    Said,
    Signs,
    destination,
    distribution_of,
    infer,
    is_mortgage_interest,
    joined,
    paid_how,
    plain,
    withdrawal_of,
)
from planning.core.household_parts import AccountType
from planning.core.types import YIELD_KINDS


def own_entry(
    row: Row, posting: Posting, account: AccountType | None, faults: Faults
) -> ParsedEntry:
    """A row of our own layout: the kind is stated and the amount is positive."""
    known = KINDS[account] if account else ("debit", "credit")
    kind = _choice(row, "kind", known, faults) or known[0]
    if posting.cents < 0:
        faults.add(row.line, "amount", "the amount is negative", "The kind tells the direction")
    sources = YIELD_KINDS if kind == "distribution" else WITHDRAWAL_SOURCES
    required = {"distribution": ("of", "paid"), "withdrawal": ("to",), "transfer-in-kind": ("to",)}
    for column in required.get(kind, ()):
        if not row.get(column):
            faults.add(row.line, column, f"a {kind} needs {column!r}", "Fill in the column")
    entry = ParsedEntry(
        date=posting.date,
        sequence=0,
        kind=kind,
        amount_cents=abs(posting.cents),
        description=joined((unguarded(row.get("description")),)),
        external_id=unguarded(row.get("id")),
        of=_choice(row, "of", sources, faults) if row.get("of") else None,
        paid=_choice(row, "paid", PAID, faults) if row.get("paid") else None,
        to=row.get("to") or None,
        source=unguarded(row.get("from")) or None,
        proceeds_cents=_cents(row, "proceeds", faults),
        cost_fraction=_fraction(row, faults),
        line=row.line,
    )
    return _with_split(entry, row, faults)


def entries_of(
    rows: Sequence[tuple[Row, Posting]],
    account: AccountType | None,
    turned: Direction,
    opening: int | None,
    faults: Faults,
) -> list[ParsedEntry]:
    """The rows of a bank's CSV as entries, in the order given.

    `opening` is the opening balance when the file states it, in cents as we
    sign balances: with it the first payment can be split too.
    """
    entries: list[ParsedEntry] = []
    interest: list[int] = []
    before = opening
    for row, posting in rows:
        balance = posting.balance_cents
        balance = balance * turned.balance if balance is not None else None
        up = posting.cents * turned.up > 0
        if account == "mortgage" and None not in (before, balance) and before != balance:
            assert before is not None
            assert balance is not None
            up = balance > before
        said = _said(row, posting, account, up=up)
        signs = Signs(up=up, type="", words=posting.words)
        if account == "mortgage" and is_mortgage_interest(signs):
            interest.append(len(entries))
        entry = ParsedEntry(
            date=posting.date,
            sequence=0,
            kind=said.kind,
            amount_cents=abs(posting.cents),
            description=joined((row.get("description"),)),
            external_id=row.get("id"),
            of=said.of,
            paid=said.paid,
            to=said.to,
            line=row.line,
        )
        entry = _with_split(entry, row, faults)
        if entry.kind == "payment" and entry.principal_cents is None:
            entry = _split_from_balances(entry, before, balance)
        entries.append(entry)
        before = balance
    return _fold(entries, interest)


def _said(row: Row, posting: Posting, account: AccountType | None, *, up: bool) -> Said:
    """The kind a type column names outright, else what sign and words say."""
    words = posting.words
    kind = KIND_WORDS[account].get(plain(row.get("kind"))) if account else None
    if kind is None:
        return infer(account, Signs(up=up, type="", words=words))
    if kind == "distribution":
        return Said(kind, of=distribution_of(words), paid=paid_how(words))
    if kind == "withdrawal":
        return Said(kind, of=withdrawal_of(words), to=destination(words))
    return Said(kind)


def _split_from_balances(entry: ParsedEntry, before: int | None, after: int | None) -> ParsedEntry:
    """A payment split by what it took off the balance, when the file shows both."""
    if before is None or after is None:
        return entry
    principal = before - after
    interest = entry.amount_cents - principal
    if interest < 0:
        return entry
    return replace(entry, interest_cents=interest, principal_cents=principal)


def _fold(entries: list[ParsedEntry], interest: list[int]) -> list[ParsedEntry]:
    """Interest rows of a mortgage join that day's payment, balances or not."""
    gone: set[int] = set()
    for index in interest:
        row = entries[index]
        for place, one in enumerate(entries):
            whole = one.interest_cents in (None, 0)
            if one.kind == "payment" and one.date == row.date and whole and place != index:
                entries[place] = replace(
                    one,
                    interest_cents=row.amount_cents,
                    principal_cents=one.amount_cents - row.amount_cents,
                )
                gone.add(index)
                break
    return [one for place, one in enumerate(entries) if place not in gone]


def _with_split(entry: ParsedEntry, row: Row, faults: Faults) -> ParsedEntry:
    if entry.kind != "payment" or not (row.get("interest") or row.get("principal")):
        return entry
    interest = _cents(row, "interest", faults)
    principal = _cents(row, "principal", faults)
    if interest is None and principal is not None:
        interest = entry.amount_cents - principal
    elif principal is None and interest is not None:
        principal = entry.amount_cents - interest
    if interest is None or principal is None:
        return entry
    if interest + principal != entry.amount_cents:
        faults.add(
            row.line,
            "principal",
            "interest and principal do not add up to the payment",
            "Correct the split or the amount",
        )
    return replace(entry, interest_cents=interest, principal_cents=principal)


def _cents(row: Row, column: str, faults: Faults) -> int | None:
    if not row.get(column):
        return None
    try:
        return values.cents(row.get(column))
    except ValueError:
        faults.add(
            row.line,
            column,
            f"{shown(row.get(column))} is not an amount",
            "Write it with at most two decimals, such as 1204.37",
        )
        return None


def _fraction(row: Row, faults: Faults) -> Decimal | None:
    text = row.get("cost_fraction")
    if not text:
        return None
    try:
        return values.fraction(text)
    except ValueError:
        faults.add(row.line, "cost_fraction", f"{shown(text)} is not a fraction", "Write 0 to 1")
        return None


def _choice(row: Row, column: str, known: tuple[str, ...], faults: Faults) -> str | None:
    text = row.get(column)
    if text not in known:
        faults.add(
            row.line,
            column,
            f"{shown(text)} is not known here",
            f"Use one of: {', '.join(known)}",
        )
        return None
    return text
