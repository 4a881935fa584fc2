"""Which way the signed amounts and the balance column of a bank's CSV run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from ledger.core.formats.words import raises_debt
from planning.core.household_parts import AccountType


@dataclass(frozen=True, slots=True)
class Posting:
    """A row with its amount as the file signs it (credit less debit with two columns)."""

    line: int
    date: date
    cents: int
    balance_cents: int | None
    words: str


@dataclass(frozen=True, slots=True)
class Direction:
    """Signs that turn file amounts and balances into ours.

    `up`: 1 when a positive amount raises our balance, else -1. `balance`: what
    a balance cell is multiplied by.
    """

    up: int
    balance: int


def direction(
    rows: Sequence[Posting],
    account: AccountType | None,
    opening: int | None,
    closing: int | None,
    *,
    two_columns: bool,
) -> Direction:
    """Decide from the balance column, the stated balances and the words, in that order."""
    if account not in ("line", "mortgage"):
        return Direction(1, 1)
    follows = _follows(rows)
    sign = _balance_sign(rows)
    if two_columns:
        return Direction(-1, -follows if follows else sign or 1)
    if follows and sign:
        return Direction(follows * sign, sign)
    up = _from_totals(rows, opening, closing) or _from_words(rows) or -1
    return Direction(up, up * follows if follows else sign or 1)


def _follows(rows: Sequence[Posting]) -> int:
    """1 when the balance moves with the amounts, -1 when against them, 0 unknown."""
    votes = 0
    for before, after in pairwise(rows):
        if before.balance_cents is None or after.balance_cents is None:
            continue
        change = after.balance_cents - before.balance_cents
        if change and after.cents:
            votes += 1 if (change > 0) == (after.cents > 0) else -1
    return (votes > 0) - (votes < 0)


def _balance_sign(rows: Sequence[Posting]) -> int:
    """1 when balances are written positive, -1 negative, 0 when mixed or unknown."""
    found = [row.balance_cents for row in rows if row.balance_cents]
    if not found:
        return 0
    if all(one > 0 for one in found):
        return 1
    return -1 if all(one < 0 for one in found) else 0


def _from_totals(rows: Sequence[Posting], opening: int | None, closing: int | None) -> int:
    total = sum(row.cents for row in rows)
    if opening is None or closing is None or not total:
        return 0
    if closing - opening == total:
        return 1
    return -1 if opening - closing == total else 0


def _from_words(rows: Sequence[Posting]) -> int:
    votes = 0
    for row in rows:
        up = raises_debt(row.words)
        if up is not None and row.cents:
            votes += 1 if up == (row.cents > 0) else -1
    return (votes > 0) - (votes < 0)


def newest_first(rows: Sequence[Posting]) -> bool:
    """Whether the rows run backwards in time, by date, else by the balance column."""
    days = [row.date for row in rows]
    if len(rows) < 2:
        return False
    if days[0] != days[-1]:
        return days[0] > days[-1] and days == sorted(days, reverse=True)
    return _chains(rows[::-1]) and not _chains(rows)


def _chains(rows: Sequence[Posting]) -> bool:
    for sign in (1, -1):
        if all(
            before.balance_cents is not None
            and after.balance_cents is not None
            and after.balance_cents - before.balance_cents == sign * after.cents
            for before, after in pairwise(rows)
        ):
            return True
    return False
