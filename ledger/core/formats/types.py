"""What a statement file says, as frozen values in cents and dates.

The fields follow what a monthly statement of a credit line must show under
SOR/2021-181, s. 55(1): period, opening and closing balances, itemised postings
by posting date, the rate on each day, the credit limit.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import Literal

from planning.core.household_parts import ENTRY_KINDS, AccountType

ACCOUNT_TYPES: tuple[AccountType, ...] = ("mortgage", "line", "investment")
Format = Literal["ofx1", "ofx2", "csv"]

KINDS = ENTRY_KINDS
"""Entry kinds by kind of account, as the household file names them."""
WITHDRAWAL_SOURCES = ("income", "return_of_capital", "proceeds")
PAID = ("cash", "reinvested")


@dataclass(frozen=True, slots=True)
class ParsedEntry:
    """One posting, amount positive in cents; optional fields as in the household file.

    `kind` is one of `KINDS[account kind]`, or "debit" / "credit" when the kind
    of account is not known. `external_id` is the bank's own id, else a hash key.
    `sequence` counts from 1 in statement order. `line` is where the file says
    it (0 when not from a file) and plays no part in comparisons.
    """

    date: date
    sequence: int
    kind: str
    amount_cents: int
    description: str
    external_id: str
    interest_cents: int | None = None
    principal_cents: int | None = None
    source: str | None = None
    of: str | None = None
    paid: str | None = None
    to: str | None = None
    proceeds_cents: int | None = None
    cost_fraction: Decimal | None = None
    line: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True)
class ParsedStatement:
    """One account's statement as its file gives it.

    Balances of lines and mortgages are what is owed, positive; of investments
    the market value. `opening_cents` or `closing_cents` is None when the file
    neither gives it nor lets it be derived. `account_last4` is for people,
    `account_hash` for matching; the account number itself is not kept. An
    account the file does not name has both empty.
    """

    format: Format
    account_last4: str
    account_hash: str
    currency: str
    kind: AccountType | None
    starts: date
    ends: date
    opening_cents: int | None
    closing_cents: int | None
    limit_cents: int | None
    value_cents: int | None
    rates: tuple[tuple[date, Decimal], ...]
    entries: tuple[ParsedEntry, ...]
    line: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """What the reader is told from outside the file.

    `today` refuses statements that end later (None: no such check); `zone` is
    the household's time zone; `kind` overrides the kind of account; `columns`
    maps our column names to the file's headers; `period` gives first and last
    day when the file gives none; `accept_gap` takes a statement whose sums do
    not tie, knowingly.
    """

    today: date | None = None
    zone: str = "America/Toronto"
    kind: AccountType | None = None
    columns: tuple[tuple[str, str], ...] = ()
    period: tuple[date, date] | None = None
    accept_gap: bool = False


ZONES: dict[str, str] = {
    "NL": "America/St_Johns",
    "NS": "America/Halifax",
    "NB": "America/Halifax",
    "PE": "America/Halifax",
    "QC": "America/Toronto",
    "ON": "America/Toronto",
    "MB": "America/Winnipeg",
    "SK": "America/Regina",
    "AB": "America/Edmonton",
    "BC": "America/Vancouver",
    "NU": "America/Iqaluit",
    "NT": "America/Edmonton",
    "YT": "America/Whitehorse",
}
"""The zone most people of a province or territory live in."""


def account_hash(number: str) -> str:
    """SHA-256 of an account number, letters and digits only, capitals."""
    plain = "".join(one for one in number.upper() if one.isalnum())
    return hashlib.sha256(plain.encode()).hexdigest() if plain else ""


def last4(number: str) -> str:
    """The last four letters or digits of an account number."""
    return "".join(one for one in number.upper() if one.isalnum())[-4:]


def with_keys(account: str, entries: Iterable[ParsedEntry]) -> tuple[ParsedEntry, ...]:
    """Number the entries and give a hash key to those without a bank id.

    The key is a hash of account, date, amount, description and the running
    number among equals, so the same rows read twice give the same keys.
    """
    seen: Counter[tuple[date, int, str]] = Counter()
    keyed: list[ParsedEntry] = []
    for sequence, one in enumerate(entries, start=1):
        external = one.external_id
        if not external:
            same = (one.date, one.amount_cents, one.description.casefold())
            seen[same] += 1
            parts = (account, one.date.isoformat(), str(one.amount_cents), same[2], str(seen[same]))
            external = "h-" + hashlib.sha256("\x1f".join(parts).encode()).hexdigest()[:20]
        keyed.append(replace(one, sequence=sequence, external_id=external))
    return tuple(keyed)


def in_date_order(entries: list[ParsedEntry]) -> list[ParsedEntry]:
    """Entries by date, the statement's own order kept within a day.

    A list that runs newest first throughout is turned round before sorting, so
    that the order within a day is the order of posting.
    """
    days = [one.date for one in entries]
    falling = len(days) > 1 and days[0] > days[-1] and days == sorted(days, reverse=True)
    return sorted(entries[::-1] if falling else entries, key=lambda one: one.date)
