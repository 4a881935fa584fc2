"""The shape every schedule of the annual packet has: typed columns, rows, stated totals.

One shape serves the PDF, the workbook and the tables: money is a decimal string,
a date is ISO, a `word` is a string of the catalogue, a `rate` a decimal fraction.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from ledger.core.trace_types import Trace
from ledger.core.trace_view import TraceView
from ledger.core.trace_view_shares import Shares
from planning.core.money import cents_from_text, text_from_cents
from planning.core.types import Household
from reports.packets.values import Json

Column = tuple[str, str, str]
"""Key, title (a string of the catalogue), type."""


@dataclass(frozen=True, slots=True)
class YearBook:
    """A household's year as traced at its last day, with the report closed through it."""

    household: Household
    report: Json
    year: int
    traced: Trace
    view: TraceView
    shares: Shares
    claim: Json

    @property
    def months(self) -> tuple[str, ...]:
        """The closed months of the year."""
        closed = (str(row["month"]) for row in self.report.get("months") or ())
        return tuple(month for month in closed if month.startswith(f"{self.year:04d}-"))

    def within(self, day: date) -> bool:
        """Whether a day lies in the year."""
        return day.year == self.year


def money(cents: int) -> str:
    """Cents as a decimal string."""
    return text_from_cents(cents)


def table(
    name: str,
    title: str,
    columns: Sequence[Column],
    rows: Iterable[Sequence[object]],
    *,
    sums: Sequence[str] = (),
    check: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """A table. `sums` name the money columns whose stated total is kept.

    `check` says how one column follows from others in its row: {"of": key,
    "plus": keys, "minus": keys}; the workbook computes it again beside the stated one.
    """
    listed = [list(row) for row in rows]
    keys = [key for key, _, _ in columns]
    totals = {
        key: text_from_cents(sum(cents_from_text(str(row[keys.index(key)])) for row in listed))
        for key in sums
    }
    return {
        "name": name,
        "title": title,
        "columns": [{"key": key, "title": head, "type": kind} for key, head, kind in columns],
        "rows": listed,
        "totals": totals if listed else {},
        "check": dict(check) if check else None,
    }


def schedule(
    number: int,
    title: str,
    *,
    notes: Sequence[str] = (),
    tables: Sequence[Mapping[str, Any]] = (),
    missing: Sequence[tuple[str, str]] = (),
) -> dict[str, Any]:
    """A schedule: notes, tables, and what is not on file with who can supply it."""
    return {
        "number": number,
        "title": title,
        "notes": list(notes),
        "tables": [dict(one) for one in tables],
        "missing": [{"what": what, "who": who} for what, who in missing],
    }
