"""Which findings a packet shows, in what order, and by when each is to be done.

"By when" is house practice (common practice, no source), counted from the
packet's date: `act` 7 days, `fix` 14 days, `paper` 30 days, `note` no date. A
renewal carries its maturity date instead, and unpaid interest never later than
December 31, since interest is deducted in the year it is paid (ITA 20(1)(c)).
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from planning.core.money import cents_from_text, text_from_cents
from reports.packets.values import SEVERITIES, Json, cents_in, severity_rank

DAYS_BY_SEVERITY: dict[str, int] = {"act": 7, "fix": 14, "paper": 30}


def due_by(finding: Json, as_of: date) -> str | None:
    """The date (ISO) a finding should be dealt with by, or None for a note."""
    code, severity = str(finding.get("code")), str(finding.get("severity"))
    if code == "renewal-due":
        return str(finding.get("key", "")).rpartition(":")[2] or None
    days = DAYS_BY_SEVERITY.get(severity)
    if days is None:
        return None
    day = as_of + timedelta(days=days)
    if code == "interest-unpaid":
        day = min(day, date(as_of.year, 12, 31))
    return day.isoformat()


def shown_finding(finding: Json, as_of: date) -> dict[str, Any]:
    """A report's finding as the packet and the desk show it."""
    evidence = [_paper(one) for one in finding.get("evidence") or ()]
    return {
        "code": str(finding["code"]),
        "key": str(finding["key"]),
        "severity": str(finding["severity"]),
        "first": str(finding["first"]),
        "last": str(finding["last"]),
        "dollars": str(finding["dollars"]),
        "cost_per_year": str(finding.get("cost_per_year") or "0.00"),
        "open": bool(finding.get("open")),
        "by": due_by(finding, as_of) if finding.get("open") else None,
        "evidence": evidence,
        "remedy": [_step(one) for one in finding.get("steps") or finding.get("remedy") or ()],
    }


def _step(one: object) -> dict[str, Any]:
    """A remedy step as a sentence with named places and what goes into them."""
    if isinstance(one, dict):
        template = str(one.get("template") or one.get("text") or "")
        values = {str(name): value for name, value in dict(one.get("values") or {}).items()}
        return {"template": template, "values": values}
    return {"template": str(one), "values": {}}


def _paper(one: object) -> str:
    if isinstance(one, dict):
        return str(one.get("ref") or one.get("id") or "")
    return str(one)


def ordered(findings: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Most urgent first, then most dollars, then code and key: a total order."""
    return sorted(
        findings,
        key=lambda one: (
            severity_rank(one),
            -cents_from_text(one["dollars"]),
            one["code"],
            one["key"],
        ),
    )


def open_findings(report: Json, as_of: date) -> list[dict[str, Any]]:
    """Every finding still open, in the packet's order."""
    rows = [shown_finding(one, as_of) for one in report.get("drift") or () if one.get("open")]
    return ordered(rows)


def settled_findings(report: Json, months: tuple[str, ...], as_of: date) -> list[dict[str, Any]]:
    """Findings last seen in the quarter or the month before it, and gone at its end.

    A finding whose last month precedes the quarter by one closed in the
    quarter's first month.
    """
    earliest = min(months)
    before = _month_before(earliest)
    rows = [
        shown_finding(one, as_of)
        for one in report.get("drift") or ()
        if not one.get("open") and before <= str(one["last"]) <= max(months)
    ]
    return ordered(rows)


def _month_before(month: str) -> str:
    year, number = int(month[:4]), int(month[5:7])
    return f"{year - 1:04d}-12" if number == 1 else f"{year:04d}-{number - 1:02d}"


INSIDE_MIXED_LINE = ("personal-use", "registered-destination", "capital-leak", "proceeds-leak")
EXPOSURES = ("renewal-due", "renewal-passed")


def counted(findings: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The findings whose dollars may be added up.

    Left out: events whose amount stands inside an open `mixed-line` finding (it
    would count twice), and renewals, whose dollars are the balance at stake and
    no loss.
    """
    return [one for one in steps(findings) if one["code"] not in EXPOSURES]


def steps(findings: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The findings that ask for a step of their own.

    Left out: events that the cure of an open `mixed-line` finding mends with it.
    """
    mixed = any(one["code"] == "mixed-line" for one in findings)
    return [one for one in findings if not (mixed and one["code"] in INSIDE_MIXED_LINE)]


def by_severity(findings: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """For each severity with findings: how many, and the dollars that may be added up."""
    rows: list[dict[str, Any]] = []
    for severity in SEVERITIES:
        mine = [one for one in findings if one["severity"] == severity]
        if mine:
            adding = [one for one in counted(findings) if one["severity"] == severity]
            rows.append(
                {
                    "severity": severity,
                    "count": len(mine),
                    "dollars": text_from_cents(sum(cents_in(one, "dollars") for one in adding)),
                    "cost_per_year": text_from_cents(
                        sum(cents_in(one, "cost_per_year") for one in adding)
                    ),
                }
            )
    return rows
