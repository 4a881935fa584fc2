"""What the borrowed money was used for, draw by draw, and the papers still missing."""

from __future__ import annotations

from datetime import date
from typing import Any

from planning.core.money import text_from_cents
from planning.core.types import CLASSES, Household, Use
from reports.packets.values import Json, cents_in

BORROWING_KINDS = ("draw", "fee", "opening", "adjustment", "reclass")


def use_rows(household: Household, report: Json, starts: date, ends: date) -> list[dict[str, Any]]:
    """Every draw, fee and change of use dated in the period, with its classes and claims."""
    claimed = {use.draw: use for use in household.uses}
    rows: list[dict[str, Any]] = []
    for line, entry in _entries(report):
        if entry["kind"] not in BORROWING_KINDS:
            continue
        if not starts.isoformat() <= str(entry["date"]) <= ends.isoformat():
            continue
        if entry["kind"] == "adjustment" and cents_in(entry, "unsupported") < 0:
            continue
        rows.append(
            {
                "line": line,
                "id": str(entry["id"]),
                "date": str(entry["date"]),
                "kind": str(entry["kind"]),
                "amount": str(entry["amount"]),
                **{name: str(entry[name]) for name in CLASSES},
                "splits": _splits(claimed.get(str(entry["id"]))),
            }
        )
    return sorted(rows, key=lambda row: (row["date"], row["line"]))


def class_rows(report: Json) -> list[dict[str, Any]]:
    """Each line's balance by class, with the unpaid interest inside it."""
    rows: list[dict[str, Any]] = []
    for ref, line in (report.get("lines") or {}).items():
        unpaid = line.get("unpaid_interest") or {}
        rows.append(
            {
                "line": str(ref),
                "balance": str(line["balance"]),
                **{name: str(line[name]) for name in CLASSES},
                "unpaid_interest": text_from_cents(sum(cents_in(unpaid, name) for name in CLASSES)),
                "targets": [
                    {"target": str(name), "amount": str(amount)}
                    for name, amount in (line.get("targets") or {}).items()
                    if str(amount) != "0.00"
                ],
            }
        )
    return rows


def missing_records(household: Household, report: Json) -> list[dict[str, Any]]:
    """Papers to obtain: draws without a shown use, statements missing or broken."""
    claimed = {use.draw: use for use in household.uses}
    rows: list[dict[str, Any]] = []
    for line, entry in _entries(report):
        lacking = cents_in(entry, "unsupported")
        if entry["kind"] not in ("draw", "opening", "adjustment") or lacking <= 0:
            continue
        use = claimed.get(str(entry["id"]))
        if use is not None and all(split.use == "line-interest" for split in use.splits):
            continue
        rows.append(
            {
                "what": "use" if use is None else "evidence",
                "where": f"{line}: {entry['id']}",
                "date": str(entry["date"]),
                "amount": str(entry["unsupported"]),
            }
        )
    for finding in report.get("drift") or ():
        if not finding.get("open") or finding["code"] not in _RECORD_CODES:
            continue
        rows.append(
            {
                "what": _RECORD_CODES[finding["code"]],
                "where": str(finding["key"]),
                "date": None,
                "amount": str(finding["dollars"]),
            }
        )
    return rows


_RECORD_CODES = {"statement-missing": "statement", "balance-break": "break"}


def _entries(report: Json) -> list[tuple[str, Json]]:
    lines = report.get("lines") or {}
    return [(str(ref), entry) for ref, line in lines.items() for entry in line["entries"]]


def _splits(use: Use | None) -> list[dict[str, Any]]:
    if use is None:
        return []
    return [
        {
            "amount": text_from_cents(split.amount_cents),
            "use": split.use,
            "to": split.to,
            "evidence": [paper.ref for paper in split.evidence],
        }
        for split in use.splits
    ]
