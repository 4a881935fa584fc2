"""The answer of an import as a JSON object: one a statement, keys in a fixed order."""

from __future__ import annotations

from collections.abc import Iterable

from config.problems import Problem
from ledger.core.formats.types import ParsedEntry, ParsedStatement
from planning.core.money import text_from_cents


def summary(
    file: str,
    one: ParsedStatement | None,
    *,
    account: str | None = None,
    imported: int = 0,
    already_here: int = 0,
    problems: Iterable[Problem] = (),
) -> dict[str, object]:
    """What a file says and what became of it.

    `account` is the household's reference where it is known, else the last
    four characters of the account number. Amounts are decimal strings.
    `imported` and `already_here` count postings.
    """
    return {
        "file": file,
        "format": one.format if one else None,
        "account": account or (one.account_last4 or None if one else None),
        "currency": one.currency if one else None,
        "kind": one.kind if one else None,
        "entries": [entry_json(entry) for entry in one.entries] if one else [],
        "opening": _money(one.opening_cents) if one else None,
        "closing": _money(one.closing_cents) if one else None,
        "imported": imported,
        "already_here": already_here,
        "problems": [problem.as_dict() for problem in problems],
    }


def entry_json(one: ParsedEntry) -> dict[str, object]:
    """A posting, its optional fields left out where the statement does not give them."""
    row: dict[str, object] = {
        "id": one.external_id,
        "date": one.date.isoformat(),
        "kind": one.kind,
        "amount": text_from_cents(one.amount_cents),
        "description": one.description,
    }
    optional: dict[str, object] = {
        "interest": _money(one.interest_cents),
        "principal": _money(one.principal_cents),
        "from": one.source,
        "of": one.of,
        "paid": one.paid,
        "to": one.to,
        "proceeds": _money(one.proceeds_cents),
        "cost_fraction": None if one.cost_fraction is None else f"{one.cost_fraction:f}",
    }
    return row | {key: value for key, value in optional.items() if value is not None}


def _money(cents: int | None) -> str | None:
    return None if cents is None else text_from_cents(cents)
