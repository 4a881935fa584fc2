"""The quarterly packet as data: everything it says, frozen, before anything is drawn.

Rendering reads this snapshot and nothing else, so a packet issued once can be
drawn again years later with the same words and figures.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from config.problems import BadInput, Problem
from planning.core.household_file import household_to_json
from planning.core.types import Household
from reports.packets.findings import by_severity, counted, open_findings, settled_findings, steps
from reports.packets.instructions import dated_instructions, renewals_ahead
from reports.packets.period import Quarter
from reports.packets.series import deductible_rows, figure, largest_causes, series, summed
from reports.packets.uses import class_rows, missing_records, use_rows
from reports.packets.values import Json, digest_of, month_rows, total

FORMAT = "towpath/quarterly-packet"
VERSION = 1
FIRST_PAGE_STEPS = 4
LANGUAGES = ("en", "fr")


def unclosed_months(report: Json, quarter: Quarter) -> tuple[str, ...]:
    """The quarter's months that the report has not closed."""
    closed = month_rows(report)
    return tuple(month for month in quarter.months if month not in closed)


def quarterly_input_digest(
    household: Household, report: Json, year: int, quarter: int, language: str, as_of: date
) -> str:
    """SHA-256 of all that a packet depends on; equal digests make equal packets."""
    return digest_of(
        FORMAT,
        VERSION,
        household_to_json(household),
        report,
        Quarter(year, quarter).label,
        language,
        as_of.isoformat(),
    )


def quarterly_data(
    household: Household,
    report: Json,
    year: int,
    quarter: int,
    language: str,
    as_of: date,
) -> dict[str, Any]:
    """The quarterly packet's snapshot: a JSON-able dict of decimal strings and ISO dates.

    `report` is the household report (format "towpath/report") closed through
    the quarter's last month; `as_of` dates the packet and every "by when".
    Raises BadInput when the report belongs to another household, ends with
    another month, or leaves a month of the quarter open.
    """
    period = Quarter(year, quarter)
    _check(household, report, period, language)
    ahead = period.following
    last = period.months[-1]
    findings = open_findings(report, as_of)
    todo = steps(findings)
    quarter_rows = deductible_rows(report, period.months)
    year_months = [f"{year:04d}-{number:02d}" for number in range(1, 3 * quarter + 1)]
    year_rows = deductible_rows(report, year_months)
    instructions, holds = dated_instructions(household, report, ahead.starts, ahead.ends, as_of)
    records = missing_records(household, report)
    return {
        "format": FORMAT,
        "version": VERSION,
        "language": language,
        "as_of": as_of.isoformat(),
        "period": {
            "label": period.label,
            "year": year,
            "quarter": quarter,
            "starts": period.starts.isoformat(),
            "ends": period.ends.isoformat(),
            "next": {
                "label": ahead.label,
                "year": ahead.year,
                "quarter": ahead.number,
                "starts": ahead.starts.isoformat(),
                "ends": ahead.ends.isoformat(),
            },
        },
        "household": {
            "ref": household.ref,
            "name": household.name,
            "province": household.province,
            "advisor": household.advisor,
        },
        "engine": str(report.get("engine") or ""),
        "input_digest": quarterly_input_digest(household, report, year, quarter, language, as_of),
        "month_digests": _month_digests(report, period),
        "summary": {
            "severities": by_severity(findings),
            "dollars": total(counted(findings), "dollars"),
            "cost_per_year": total(counted(findings), "cost_per_year"),
            "steps": todo[:FIRST_PAGE_STEPS],
            "more_steps": max(0, len(todo) - FIRST_PAGE_STEPS),
            "figures": {
                "mortgage": figure(report, last, "mortgage_closing"),
                "line": figure(report, last, "line_closing"),
                "portfolio": figure(report, last, "portfolio_closing"),
                "room": figure(report, last, "room"),
            },
        },
        "has_plan": household.plan is not None,
        "series": series(report, last),
        "deductible": {
            "rows": quarter_rows,
            "quarter": summed(quarter_rows),
            "year": summed(year_rows),
            "largest_causes": largest_causes(summed(year_rows)["causes"]),
            "claim": _claim(report, year),
        },
        "classes": class_rows(report),
        "uses": use_rows(household, report, period.starts, period.ends),
        "findings": findings,
        "settled": settled_findings(report, period.months, as_of),
        "renewals": renewals_ahead(household, period.ends),
        "instructions": instructions,
        "holds": holds,
        "records": records,
    }


def _claim(report: Json, year: int) -> dict[str, str] | None:
    row = (report.get("deductions") or {}).get(str(year))
    if row is None:
        return None
    keys = ("posted", "paid", "deductible", "unsupported", "ineligible", "compound")
    return {key: str(row.get(key, "0.00")) for key in keys}


def _month_digests(report: Json, period: Quarter) -> dict[str, str]:
    closed = month_rows(report)
    return {month: str(closed[month].get("digest") or "") for month in period.months}


def _check(household: Household, report: Json, period: Quarter, language: str) -> None:
    problems: list[Problem] = []
    where = f"report {report.get('household')}"
    if report.get("household") != household.ref:
        problems.append(
            Problem(
                household.ref,
                where,
                "the report belongs to another household",
                f"Give the report of {household.ref}",
            )
        )
    if report.get("through") != period.months[-1]:
        problems.append(
            Problem(
                household.ref,
                where,
                f"the report runs through {report.get('through')}, not {period.months[-1]}",
                f"Evaluate the household through {period.months[-1]}",
            )
        )
    problems.extend(
        Problem(
            household.ref,
            month,
            "the month is not closed",
            f"Import its statements, then close it with close_month {month}",
        )
        for month in unclosed_months(report, period)
    )
    if language not in LANGUAGES:
        problems.append(
            Problem(household.ref, "language", f"{language!r} is not spoken", "Use en or fr")
        )
    if problems:
        raise BadInput(problems)


def default_as_of(quarter: Quarter) -> date:
    """The date a packet carries unless told otherwise: ten days after the quarter's end.

    By then a month's statements are due (the grace of `statement-missing`).
    """
    return quarter.ends + timedelta(days=10)
