"""Statements written in the plain CSV layout of docs/reference/statement-import.md."""

from __future__ import annotations

import csv
import io

from ledger.core.formats.csv_layout import OWN_MARK, OWN_VERSION
from ledger.core.formats.csv_names import OWN_COLUMNS
from ledger.core.formats.csv_text import guarded
from ledger.core.formats.types import ParsedEntry, ParsedStatement, account_hash
from planning.core.money import text_from_cents


def render_csv(statement: ParsedStatement, number: str) -> str:
    """The statement as CSV with a header block, in UTF-8 with plain newlines."""
    assert account_hash(number) == statement.account_hash, "the number is not this statement's"
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\n")
    write.writerow([OWN_MARK, OWN_VERSION])
    for key, value in _header(statement, number):
        if value:
            write.writerow([key, value])
    for day, rate in statement.rates:
        write.writerow(["rate", day.isoformat(), f"{rate:f}"])
    write.writerow([])
    write.writerow(OWN_COLUMNS)
    for entry in statement.entries:
        write.writerow(_row(entry))
    return out.getvalue()


def _header(one: ParsedStatement, number: str) -> tuple[tuple[str, str], ...]:
    return (
        ("account", number),
        ("currency", one.currency),
        ("kind", one.kind or ""),
        ("starts", one.starts.isoformat()),
        ("ends", one.ends.isoformat()),
        ("opening", _money(one.opening_cents)),
        ("closing", _money(one.closing_cents)),
        ("limit", _money(one.limit_cents)),
        ("value", _money(one.value_cents)),
    )


def _row(one: ParsedEntry) -> list[str]:
    by_column = {
        "date": one.date.isoformat(),
        "kind": one.kind,
        "amount": text_from_cents(one.amount_cents),
        "description": guarded(one.description),
        "id": guarded(one.external_id),
        "interest": _money(one.interest_cents),
        "principal": _money(one.principal_cents),
        "of": one.of or "",
        "paid": one.paid or "",
        "from": guarded(one.source or ""),
        "to": one.to or "",
        "proceeds": _money(one.proceeds_cents),
        "cost_fraction": "" if one.cost_fraction is None else f"{one.cost_fraction:f}",
    }
    return [by_column[column] for column in OWN_COLUMNS]


def _money(cents: int | None) -> str:
    return "" if cents is None else text_from_cents(cents)
