"""A household's report as its stored closes tell it.

The months are read from the closes on file, never computed again: a page shows
what was closed. The plan's coming rows and the entries of the lines, which a
close does not keep, are worked out from the same facts. This is the one module
of reports that knows how closes are stored.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Max
from django.db.models.fields.json import KT, KeyTransform

from ledger.core.trace_adapter import line_rows, opening_classes
from ledger.core.tracing import trace
from ledger.models import HouseholdMonth
from planning.core.months import last_day, month_of, months_between, shift_month
from planning.core.plan import run_plan
from planning.core.plan_types import row_json
from planning.core.types import Household

MONTHS_AHEAD = 3
_PARTS = ("actual", "plan", "variance", "attribution", "digest")


@dataclass(frozen=True, slots=True)
class StoredReport:
    """The report (format "towpath/report") and the closed months whose facts changed since."""

    report: dict[str, Any]
    stale: tuple[str, ...]
    versions: dict[str, int]

    @property
    def through(self) -> str | None:
        """The last closed month; None before the first close."""
        return self.report["through"]


def stored_report(
    household_id: UUID, household: Household, through: str | None = None
) -> StoredReport:
    """The report of a household's closes up to `through`, by default the last one.

    Asked inside the firm's scope. Empty months, lines and findings before the
    first close.
    """
    rows = _closed(household_id, through)
    months = [_month(row) for row in rows]
    last = months[-1]["month"] if months else None
    full = _full(household_id, last) if last else {}
    report = {
        "format": "towpath/report",
        "version": 1,
        "household": household.ref,
        "through": last,
        "engine": str(full.get("engine") or ""),
        "plan": _plan_rows(household, rows, last),
        "months": months,
        "lines": _lines(household, full, last),
        "deductions": full.get("deductions") or {},
        "drift": full.get("drift") or [],
    }
    stale = tuple(_text(row["month"]) for row in rows if not row["fresh"])
    return StoredReport(report, stale, {_text(row["month"]): row["version"] for row in rows})


def _text(day: date) -> str:
    return month_of(day)


def _closed(household_id: UUID, through: str | None) -> list[dict[str, Any]]:
    """The newest result of every closed month, oldest first, without its findings."""
    found = HouseholdMonth.objects.filter(household_id=household_id, result__isnull=False)
    if through is not None:
        found = found.filter(month__lte=last_day(through))
    parts = {f"part_{name}": KeyTransform(name, "result") for name in _PARTS}
    rows = (
        found.order_by("month", "-version")
        .distinct("month")
        .annotate(**parts)
        .values("month", "version", "state", "stale_reason", *parts)
    )
    return [
        row | {"fresh": row["state"] == "done" and not row["stale_reason"]} for row in list(rows)
    ]


def _month(row: dict[str, Any]) -> dict[str, Any]:
    return {
        "month": _text(row["month"]),
        "actual": row["part_actual"],
        "variance": row["part_variance"] or {},
        "attribution": row["part_attribution"] or {},
        "digest": row["part_digest"],
        "revision": row["version"],
    }


def _full(household_id: UUID, month: str) -> dict[str, Any]:
    found = HouseholdMonth.objects.filter(
        household_id=household_id, month=f"{month}-01", result__isnull=False
    )
    result = found.order_by("-version").values_list("result", flat=True).first()
    return dict(result or {})


def closed_months(household_id: UUID) -> set[str]:
    """The months of a household that were closed and have a page."""
    rows = HouseholdMonth.objects.filter(household_id=household_id, result__isnull=False)
    return {_text(day) for day in rows.values_list("month", flat=True).distinct()}


@dataclass(frozen=True, slots=True)
class ClosedThrough:
    """How far a household is closed: its last closed month, that close's deductions by year,
    and whether facts behind a closed month changed since."""

    month: str
    deductions: dict[str, dict[str, str]]
    stale: bool


def closed_through(household_id: UUID) -> ClosedThrough | None:
    """How far a household is closed; None before the first close."""
    rows = _closed(household_id, None)
    if not rows:
        return None
    month = _text(rows[-1]["month"])
    stale = any(not row["fresh"] for row in rows)
    return ClosedThrough(month, _full(household_id, month).get("deductions") or {}, stale)


def findings_at(household_id: UUID, month: str) -> list[dict[str, Any]]:
    """The findings open at a month's own close, as that close saw them."""
    drift = _full(household_id, month).get("drift") or []
    return [one for one in drift if one["open"]]


def _plan_rows(
    household: Household, rows: list[dict[str, Any]], last: str | None
) -> list[dict[str, Any]]:
    """The plan as the closes kept it, and as it goes on for the months ahead."""
    kept = {
        _text(row["month"]): {"month": _text(row["month"])} | row["part_plan"]
        for row in rows
        if row["part_plan"]
    }
    plan = household.plan
    if plan is None:
        return [kept[month] for month in sorted(kept)]
    first = month_of(plan.starts)
    until = shift_month(last or first, MONTHS_AHEAD)
    count = len(months_between(first, until))
    if count:
        eve = plan.starts - timedelta(days=1)
        played = run_plan(household, opening_classes(household, eve), months=count)
        ahead = {row.month: row_json(row) for row in played.rows}
        kept = ahead | kept
    return [kept[month] for month in sorted(kept)]


def _lines(household: Household, full: dict[str, Any], last: str | None) -> dict[str, Any]:
    if last is None or not full.get("lines"):
        return {}
    traced = trace(household, last_day(last))
    return {
        ref: line | {"entries": line_rows(traced, ref)}
        for ref, line in full["lines"].items()
        if ref in traced.lines
    }


def last_closed(household_id: UUID) -> str | None:
    """The household's last closed month; None before the first close."""
    found = HouseholdMonth.objects.filter(household_id=household_id, result__isnull=False)
    month = found.aggregate(last=Max("month"))["last"]
    return None if month is None else _text(month)


def latest_balances(household_ids: list[UUID]) -> dict[UUID, dict[str, Any]]:
    """For each household its last closed month and the figures of the book's bar."""
    parts = {
        name: KT(f"result__actual__{name}")
        for name in ("eligible", "mortgage_closing", "line_closing")
    }
    rows = (
        HouseholdMonth.objects.filter(household_id__in=household_ids, result__isnull=False)
        .order_by("household_id", "-month", "-version")
        .distinct("household_id")
        .annotate(**parts)
        .values("household_id", "month", "state", "stale_reason", *parts)
    )
    return {row["household_id"]: row for row in rows}
