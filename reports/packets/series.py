"""Plan against actual, month by month, and the causes of the gap."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from planning.core.money import text_from_cents
from reports.packets.values import Json, cents_in, minus, month_rows, plan_rows, total
from reports.packets.words import CAUSE_WORDS

SERIES_KEYS = ("mortgage_closing", "line_closing", "portfolio_closing", "deductible")


def series(report: Json, through: str) -> list[dict[str, Any]]:
    """One row a month up to `through`: each key as `<key>_plan`, `<key>_actual` or None."""
    planned, closed = plan_rows(report), month_rows(report)
    months = sorted(month for month in {*planned, *closed} if month <= through)
    first = min(closed) if closed else ""
    rows: list[dict[str, Any]] = []
    for month in months:
        if month < first and month not in planned:
            continue
        plan, actual = planned.get(month), (closed.get(month) or {}).get("actual")
        row: dict[str, Any] = {"month": month}
        for key in SERIES_KEYS:
            row[f"{key}_plan"] = None if plan is None else str(plan[key])
            row[f"{key}_actual"] = None if not actual else str(actual.get(key, "0.00"))
        rows.append(row)
    return rows


def figure(report: Json, month: str, key: str) -> dict[str, str | None]:
    """Plan, actual and difference of one balance at the end of a month."""
    plan = plan_rows(report).get(month)
    actual = (month_rows(report).get(month) or {}).get("actual")
    planned = None if plan is None else str(plan[key])
    shown = None if not actual else str(actual[key])
    gap = None if planned is None or shown is None else minus(shown, planned)
    return {"plan": planned, "actual": shown, "gap": gap}


def deductible_rows(report: Json, months: Sequence[str]) -> list[dict[str, Any]]:
    """Deductible interest of each closed month with its plan, gap and causes."""
    planned, closed = plan_rows(report), month_rows(report)
    rows: list[dict[str, Any]] = []
    for month in months:
        found = closed.get(month)
        if found is None:
            continue
        plan = planned.get(month)
        actual = str(found["actual"]["deductible"])
        target = None if plan is None else str(plan["deductible"])
        causes = (found.get("attribution") or {}).get("deductible") or {}
        rows.append(
            {
                "month": month,
                "plan": target,
                "actual": actual,
                "gap": None if target is None else minus(actual, target),
                "causes": {name: str(causes[name]) for name in CAUSE_WORDS if name in causes},
            }
        )
    return rows


def summed(rows: Sequence[Json]) -> dict[str, Any]:
    """The same columns added up over months; a plan missing in all months stays None."""
    with_plan = [row for row in rows if row["plan"] is not None]
    actual = total(rows, "actual")
    causes = {
        name: text_from_cents(sum(cents_in(row["causes"], name) for row in rows))
        for name in CAUSE_WORDS
        if any(name in row["causes"] for row in rows)
    }
    plan = total(with_plan, "plan") if with_plan else None
    return {
        "plan": plan,
        "actual": actual,
        "gap": total(with_plan, "gap") if with_plan else None,
        "causes": causes,
    }


def largest_causes(causes: Json, count: int = 3) -> list[dict[str, str]]:
    """The causes with the most cents behind them, zero ones left out."""
    names = [name for name in CAUSE_WORDS if cents_in(causes, name) != 0]
    names.sort(key=lambda name: -abs(cents_in(causes, name)))
    return [{"cause": name, "amount": str(causes[name])} for name in names[:count]]
