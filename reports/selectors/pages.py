"""A household's page and a month's page, built from the household and its report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from config import formatting
from planning.core.money import cents_from_text, text_from_cents
from planning.core.months import first_day, last_day, next_month
from planning.core.types import Household
from reports import charts
from reports.packets.findings import open_findings, ordered, shown_finding
from reports.packets.instructions import dated_instructions, renewals_ahead
from reports.packets.series import deductible_rows, largest_causes, series
from reports.packets.uses import class_rows, missing_records, use_rows
from reports.packets.values import Json, cents_in, minus, month_rows, plan_rows
from reports.packets.words import CAUSE_WORDS, MEASURE_WORDS, ROW_GROUPS

LONG_AGO = date(1900, 1, 1)
CHART_WIDTH = 430
DRAWS_SHOWN = 60


def conversion(eligible: str, mortgage: str, line: str) -> tuple[int | None, str]:
    """How much of the debt stands in eligible use: whole percent for a bar, and in words."""
    debt = cents_from_text(mortgage) + cents_from_text(line)
    if debt <= 0:
        return None, ""
    share = Decimal(max(0, cents_from_text(eligible))) / debt
    words = _("%(share)s of the debt in eligible use") % {
        "share": formatting.percent(str(share), get_language() or "en", 1)
    }
    return min(100, round(share * 100)), words


def household_page(household: Household, report: Json, as_of: date) -> dict[str, Any]:
    """All that a household's page shows; `as_of` dates what is to be done and by when."""
    language = get_language() or "en"
    closed = month_rows(report)
    through = max(closed) if closed else None
    page: dict[str, Any] = {
        "ref": household.ref,
        "name": household.name,
        "province": household.province,
        "advisor": household.advisor,
        "through": through,
        "charts": [],
        "share": None,
        "share_text": "",
        "findings": open_findings(report, as_of),
        "settled": _settled(report, as_of),
        "classes": class_rows(report),
        "records": missing_records(household, report),
        "renewals": renewals_ahead(household, as_of),
        "uses": use_rows(household, report, LONG_AGO, as_of)[::-1][:DRAWS_SHOWN],
        "months": _months(report),
        "todo": [],
        "todo_month": None,
        "holds": [],
    }
    if through is None:
        return page
    rows = series(report, through)
    drawn = (
        charts.balances_chart(rows, language, CHART_WIDTH),
        charts.deductible_chart(rows, language, CHART_WIDTH),
    )
    actual = closed[through]["actual"]
    share, words = conversion(
        str(actual["eligible"]), str(actual["mortgage_closing"]), str(actual["line_closing"])
    )
    ahead = next_month(through)
    todo, holds = dated_instructions(
        household, report, first_day(ahead), last_day(ahead), max(as_of, first_day(ahead))
    )
    return page | {
        "charts": [one for one in drawn if one is not None],
        "share": share,
        "share_text": words,
        "todo": todo,
        "todo_month": ahead,
        "holds": holds,
    }


def _settled(report: Json, as_of: date) -> list[dict[str, Any]]:
    rows = [shown_finding(one, as_of) for one in report.get("drift") or () if not one.get("open")]
    return ordered(rows)


def _months(report: Json) -> list[dict[str, Any]]:
    """One row a closed month, the latest first."""
    planned, closed = plan_rows(report), month_rows(report)
    rows: list[dict[str, Any]] = []
    for row in deductible_rows(report, sorted(closed)):
        actual, plan = closed[row["month"]]["actual"], planned.get(row["month"])
        causes = largest_causes(row["causes"], 1)
        rows.append(
            {
                "month": row["month"],
                "mortgage": str(actual["mortgage_closing"]),
                "line": str(actual["line_closing"]),
                "line_gap": None
                if plan is None
                else minus(str(actual["line_closing"]), str(plan["line_closing"])),
                "deductible": row["actual"],
                "gap": row["gap"],
                "cause": causes[0] if causes else None,
            }
        )
    return rows[::-1]


def month_page(
    household: Household, report: Json, month: str, drift: Sequence[Json]
) -> dict[str, Any] | None:
    """One closed month: every row plan against actual, causes; None if it is not closed.

    `drift` are the findings open at that month's close.
    """
    closed = month_rows(report)
    found = closed.get(month)
    if found is None:
        return None
    language = get_language() or "en"
    months = sorted(closed)
    at = months.index(month)
    row = deductible_rows(report, [month])[0]
    return {
        "ref": household.ref,
        "name": household.name,
        "month": month,
        "earlier": months[at - 1] if at else None,
        "later": months[at + 1] if at + 1 < len(months) else None,
        "chart": charts.causes_chart(
            row["plan"], row["actual"], row["causes"], language, CHART_WIDTH
        ),
        "groups": _groups(plan_rows(report).get(month), found["actual"]),
        "attribution": _attribution(found.get("attribution") or {}),
        "findings": _findings(drift, month),
        "digest": str(found.get("digest") or ""),
        "engine": str(report.get("engine") or ""),
        "revision": found.get("revision"),
    }


def _groups(plan: Json | None, actual: Json) -> list[dict[str, Any]]:
    return [
        {
            "title": title,
            "rows": [
                {
                    "title": words,
                    "plan": None if plan is None else str(plan.get(key, "0.00")),
                    "actual": str(actual.get(key, "0.00")),
                    "gap": None
                    if plan is None
                    else minus(str(actual.get(key, "0.00")), str(plan.get(key, "0.00"))),
                }
                for key, words in keys
            ],
        }
        for title, keys in ROW_GROUPS
    ]


def _attribution(attribution: Mapping[str, Json]) -> dict[str, Any] | None:
    measures = [name for name in MEASURE_WORDS if attribution.get(name)]
    if not measures:
        return None
    causes = [
        name for name in CAUSE_WORDS if any(name in attribution[measure] for measure in measures)
    ]
    return {
        "measures": [MEASURE_WORDS[name] for name in measures],
        "rows": [
            {
                "cause": cause,
                "amounts": [str(attribution[name].get(cause, "0.00")) for name in measures],
            }
            for cause in causes
        ],
        "sums": [
            text_from_cents(sum(cents_in(attribution[name], cause) for cause in causes))
            for name in measures
        ],
    }


def _findings(drift: Sequence[Json], month: str) -> list[dict[str, Any]]:
    """Findings of a month's close, with the dates that were due then."""
    as_of = last_day(month) + timedelta(days=10)
    return ordered([shown_finding(one, as_of) for one in drift])
