"""The demo's statements as the files a lender or broker would send.

Each household's banks send one format; the account number is invented and
stands in the file as it would in life.
"""

from __future__ import annotations

import hashlib
from datetime import date
from decimal import Decimal
from typing import Any, cast

from ledger.core.formats.render import render_ofx1, render_ofx2
from ledger.core.formats.render_csv import render_csv
from ledger.core.formats.types import ParsedEntry, ParsedStatement, account_hash, last4
from planning.core.household_parts import AccountType
from planning.core.money import cents_from_text

SUFFIX = {"ofx1": ".ofx", "ofx2": ".qfx", "csv": ".csv"}
_WRITERS = {"ofx1": render_ofx1, "ofx2": render_ofx2, "csv": render_csv}
_WORDS = {
    "draw": "ADVANCE",
    "repayment": "PAYMENT THANK YOU",
    "interest": "INTEREST",
    "payment": "MORTGAGE PAYMENT",
    "prepayment": "PREPAYMENT",
    "contribution": "DEPOSIT",
    "distribution": "DISTRIBUTION",
    "withdrawal": "WITHDRAWAL",
}


def format_of(ref: str) -> str:
    """The format a household's banks send."""
    return ("ofx1", "csv", "ofx2")[int(ref[-2:]) % 3]


def account_number(ref: str, account: str) -> str:
    """An invented account number, the same each time."""
    digest = hashlib.sha256(f"{ref}/{account}".encode()).hexdigest()
    return f"{int(digest[:12], 16) % 10**10:010d}"


def statement_file(ref: str, kind: AccountType, statement: dict[str, Any]) -> tuple[str, bytes]:
    """One statement as a named file: (name, bytes)."""
    chosen = format_of(ref)
    number = account_number(ref, statement["account"])
    parsed = ParsedStatement(
        format=cast("Any", chosen),
        account_last4=last4(number),
        account_hash=account_hash(number),
        currency="CAD",
        kind=kind,
        starts=date.fromisoformat(statement["starts"]),
        ends=date.fromisoformat(statement["ends"]),
        opening_cents=cents_from_text(statement["opening"]),
        closing_cents=cents_from_text(statement["closing"]),
        limit_cents=_cents(statement["limit"]),
        value_cents=_cents(statement["value"]),
        rates=tuple((date.fromisoformat(day), Decimal(rate)) for day, rate in statement["rates"]),
        entries=tuple(
            _entry(number + 1, entry) for number, entry in enumerate(statement["entries"])
        ),
    )
    name = f"{ref}-{statement['account']}-{statement['starts'][:7]}{SUFFIX[chosen]}"
    return name, _WRITERS[chosen](parsed, number).encode()


def _entry(sequence: int, row: dict[str, Any]) -> ParsedEntry:
    fraction = row.get("cost_fraction")
    return ParsedEntry(
        date=date.fromisoformat(row["date"]),
        sequence=sequence,
        kind=row["kind"],
        amount_cents=cents_from_text(row["amount"]),
        description=_WORDS.get(row["kind"], row["kind"].upper()),
        external_id=row["id"],
        interest_cents=_cents(row.get("interest")),
        principal_cents=_cents(row.get("principal")),
        source=row.get("from"),
        of=row.get("of"),
        paid=row.get("paid"),
        to=row.get("to"),
        proceeds_cents=_cents(row.get("proceeds")),
        cost_fraction=None if fraction is None else Decimal(fraction),
    )


def _cents(text: str | None) -> int | None:
    return None if text is None else cents_from_text(text)
