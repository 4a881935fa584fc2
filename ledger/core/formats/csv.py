"""CSV statements: a bank's own export, or the plain layout of this product.

docs/reference/statement-import.md describes both. The reader takes what the
headers name and guesses nothing that cannot be checked: day and month must be
beyond doubt, the balance column must follow the amounts.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from ledger.core.formats import values
from ledger.core.formats.balance import check_statement, derived
from ledger.core.formats.csv_dates import Order, decide_order, read_date
from ledger.core.formats.csv_entries import entries_of, own_entry
from ledger.core.formats.csv_header import AMOUNT_REMEDY, Header, date_texts, read_header
from ledger.core.formats.csv_layout import Row, Table, split_table
from ledger.core.formats.csv_signs import Direction, Posting, direction, newest_first
from ledger.core.formats.faults import Faults, shown
from ledger.core.formats.types import (
    ParsedEntry,
    ParsedStatement,
    ReadOptions,
    account_hash,
    in_date_order,
    last4,
    with_keys,
)
from ledger.core.formats.words import plain
from planning.core.household_parts import AccountType

_DEBIT_WORDS = ("debit", "dr", "d", "dt")
_CREDIT_WORDS = ("credit", "cr", "c", "ct")


@dataclass(frozen=True, slots=True)
class _Read:
    """A row with its date and amounts read."""

    row: Row
    posting: Posting


def read_csv(text: str, faults: Faults, options: ReadOptions) -> tuple[ParsedStatement, ...]:
    """The statement of a CSV file. Raises BadInput with all that is wrong."""
    table = split_table(text, options.columns, faults)
    order = decide_order([*date_texts(table), *(row.get("date") for row in table.rows)])
    header = read_header(table, order, faults)
    kind = options.kind or header.kind
    rows = _read_rows(table, order, faults)
    if table.own:
        entries = [own_entry(one.row, one.posting, kind, faults) for one in rows]
        turned = Direction(1, 1)
    else:
        if newest_first([one.posting for one in rows]):
            rows.reverse()
        rows.sort(key=lambda one: one.posting.date)
        turned = direction(
            [one.posting for one in rows],
            kind,
            header.opening_cents,
            header.closing_cents,
            two_columns="amount" not in table.columns or _is_marked(table),
        )
        stated = _stated(header, kind, turned)
        entries = entries_of(
            [(one.row, one.posting) for one in rows], kind, turned, stated[0], faults
        )
        if kind == "line" and not options.accept_gap and not faults.problems:
            _check_chain(rows, entries, turned, faults)
    statement = _statement(table, header, kind, turned, rows, entries, options, faults)
    if statement is not None:
        check_statement(statement, options, faults)
    faults.stop_if_any()
    assert statement is not None
    return (statement,)


def _read_rows(table: Table, order: Order | None, faults: Faults) -> list[_Read]:
    found: list[_Read] = []
    marked = _is_marked(table)
    for row in table.rows:
        day = _day(row, order, faults)
        cents = _signed(row, faults)
        if cents is not None and marked and plain(row.get("kind")) in _DEBIT_WORDS:
            cents = -cents
        balance = _cents(row, "balance", faults) if row.get("balance") else None
        currency = row.get("currency").upper()
        if (currency and currency != "CAD") or row.get("usd"):
            faults.add(
                row.line,
                "currency",
                f"this posting is in {currency or 'USD'}",
                "The books are in Canadian dollars: import the CAD account",
            )
        if day is None or cents is None:
            continue
        words = plain(f"{row.get('kind')} {row.get('description')}")
        found.append(_Read(row, Posting(row.line, day, cents, balance, words)))
    return found


def _is_marked(table: Table) -> bool:
    """Whether amounts are unsigned and a type column says debit or credit on each row."""
    marks = {plain(row.get("kind")) for row in table.rows}
    return bool(marks) and marks <= {*_DEBIT_WORDS, *_CREDIT_WORDS} and not table.own


def _day(row: Row, order: Order | None, faults: Faults) -> date | None:
    text = row.get("date")
    if not text:
        faults.add(row.line, "date", "the row has no date", "Give the posting date, YYYY-MM-DD")
        return None
    try:
        return read_date(text, order)
    except ValueError as error:
        if str(error) == "order":
            message = f"{shown(text)} may be day first or month first"
        else:
            message = f"{shown(text)} is not a date"
        faults.add(row.line, "date", message, "Write dates as YYYY-MM-DD")
        return None


def _cents(row: Row, column: str, faults: Faults) -> int | None:
    try:
        return values.cents(row.get(column))
    except ValueError:
        faults.add(row.line, column, f"{shown(row.get(column))} is not an amount", AMOUNT_REMEDY)
        return None


def _signed(row: Row, faults: Faults) -> int | None:
    """The row's amount: as written, or credit less debit."""
    if row.get("amount"):
        return _cents(row, "amount", faults)
    debit = _cents(row, "debit", faults) if row.get("debit") else 0
    credit = _cents(row, "credit", faults) if row.get("credit") else 0
    if not (row.get("debit") or row.get("credit")):
        faults.add(row.line, "amount", "the row has no amount", AMOUNT_REMEDY)
        return None
    if debit and credit:
        faults.add(row.line, "amount", "the row has a debit and a credit", "Keep one of them")
        return None
    if debit is None or credit is None:
        return None
    return credit - abs(debit)


def _check_chain(
    rows: list[_Read], entries: list[ParsedEntry], turned: Direction, faults: Faults
) -> None:
    """Each balance of a line must be the one before plus the row's amount."""
    for before, after, entry in zip(rows, rows[1:], entries[1:], strict=False):
        first, second = before.posting.balance_cents, after.posting.balance_cents
        if first is None or second is None:
            continue
        moved = -entry.amount_cents if entry.kind == "repayment" else entry.amount_cents
        if (second - first) * turned.balance != moved:
            faults.add(
                after.row.line,
                "balance",
                "the balance does not follow from the one before it and this amount",
                "Look for a missing row or a wrong amount; --accept-gap takes it as it is",
            )


def _statement(
    table: Table,
    header: Header,
    kind: AccountType | None,
    turned: Direction,
    rows: list[_Read],
    entries: list[ParsedEntry],
    options: ReadOptions,
    faults: Faults,
) -> ParsedStatement | None:
    days = sorted(one.date for one in entries)
    starts = header.starts or (days[0] if days else None)
    ends = header.ends or (days[-1] if days else None)
    if options.period:
        starts, ends = options.period
    if starts is None or ends is None:
        if not faults.problems:
            faults.add(
                table.line,
                "date",
                "the file has no rows and gives no period",
                "Add the rows, or lines such as starts,2026-01-01 and ends,2026-01-31",
            )
        return None
    hashed = account_hash(header.account)
    ordered = entries if table.own else in_date_order(entries)
    keyed = with_keys(hashed, ordered)
    opening, closing = _balances(header, kind, turned, rows, keyed)
    value = header.value_cents
    if kind == "investment":
        closing = closing if closing is not None else value
        value = value if value is not None else closing
    limit = header.limit_cents
    if limit is None and header.available_cents is not None and closing is not None:
        limit = header.available_cents + closing
    return ParsedStatement(
        format="csv",
        account_last4=last4(header.account),
        account_hash=hashed,
        currency=header.currency,
        kind=kind,
        starts=starts,
        ends=ends,
        opening_cents=opening,
        closing_cents=closing,
        limit_cents=limit,
        value_cents=value,
        rates=header.rates,
        entries=keyed,
        line=table.line,
    )


def _balances(
    header: Header,
    kind: AccountType | None,
    turned: Direction,
    rows: list[_Read],
    entries: tuple[ParsedEntry, ...],
) -> tuple[int | None, int | None]:
    """Opening and closing: stated, else from the balance column, else from each other."""
    opening, closing = _stated(header, kind, turned)
    if rows and closing is None and rows[-1].posting.balance_cents is not None:
        closing = rows[-1].posting.balance_cents * turned.balance
    first = rows[0].posting if rows else None
    if opening is None and first is not None and first.balance_cents is not None:
        held = first.balance_cents * turned.balance
        if len(entries) == len(rows):
            opening = derived(kind, None, held, entries[:1])[0]
        else:  # an interest row was folded into its payment: go by the row itself
            opening = held - first.cents * turned.up
    return derived(kind, opening, closing, entries)


def _stated(
    header: Header, kind: AccountType | None, turned: Direction
) -> tuple[int | None, int | None]:
    """Opening and closing of the header block, signed as we sign balances."""
    sign = turned.balance if kind in ("line", "mortgage") else 1
    opening, closing = header.opening_cents, header.closing_cents
    return (
        None if opening is None else opening * sign,
        None if closing is None else closing * sign,
    )
