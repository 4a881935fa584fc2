"""One household as its pages and packets read it, through Access alone."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from uuid import UUID

from django.db.models.fields.json import KeyTransform
from django.utils.timezone import localdate
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from config import formatting
from ledger.core.drift.settings import thresholds_json
from ledger.core.trace_adapter import opening_classes
from ledger.mapping import household_value
from ledger.models import Finding
from ledger.selectors.restatements import revisions
from ledger.selectors.thresholds import thresholds_in_force
from planning.core.months import last_day
from planning.core.plan_types import OpeningClasses
from planning.core.types import Household
from planning.mapping import in_force
from planning.models import PlanVersion
from reports.models import Packet
from reports.packets.annual import expected_months
from reports.packets.proposal import PlanOnFile
from reports.packets.words import PACKET_WORDS
from reports.progress import progress_chart, timeline
from reports.selectors.pages import household_page, month_page
from reports.selectors.restated import (
    Revisions,
    month_restatements,
    packet_difference,
    restatement_rows,
)
from reports.selectors.stored import StoredReport, findings_at, stored_report

GRACE = timedelta(days=10)
_MONTH = re.compile(r"[0-9]{4}-(0[1-9]|1[0-2])\Z")


def household_report(
    access: Any, ref: str, through: str | None = None
) -> tuple[Any, Household, StoredReport]:
    """The household's row, its facts, and the report of its closes up to `through`."""
    row = access.household(ref)
    household = household_value(row)
    return row, household, stored_report(row.pk, household, through)


def household_page_of(access: Any, ref: str) -> dict[str, Any]:
    """What the household's page shows, its packets included.

    Dates to do things by count from ten days after the last closed month, as a
    packet's do: they stand still until the next close.
    """
    row, household, stored = household_report(access, ref)
    last = stored.through
    as_of = last_day(last) + GRACE if last else row.recorded_at.date()
    page = household_page(household, stored.report, as_of)
    language = get_language() or "en"
    found = revisions(row.pk)
    closed = {one["month"]: one for one in stored.report["months"]}
    if not access.can("finding.view"):
        page |= {"findings": [], "settled": [], "records": [], "holds": []}
    else:
        page["findings"] = with_ids(row.pk, page["findings"])
    packets = [
        _packet(one, language) | _standing(one, newest, closed, found)
        for newest, one in _with_newest(_packets(row))
    ]
    progress = progress_chart(stored.report, language)
    page["charts"] = [*([progress] if progress else []), *page["charts"]]
    return (
        page
        | _deductions(access, stored.report)
        | {
            "shows_findings": access.can("finding.view"),
            "thresholds": thresholds_json(thresholds_in_force(access.firm_id)),
            "shows_plan": household.plan is not None and access.can("plan.view"),
            "annual_years": annual_years(household, closed) if access.can("packet.issue") else [],
            "may_propose": household.plan is not None and access.can("packet.issue"),
            "shows_shares": access.can("grant.manage"),
            "shows_draws": access.can("evidence.view"),
            "stale": ", ".join(formatting.long_month(one, language) for one in stored.stale),
            "packets": packets,
            "timeline": timeline(page, packets),
            "shows_books": bool(household.statements) and access.can("books.export"),
            "restatements": restatement_rows(found) if access.can("trace.view") else [],
        }
    )


def annual_years(household: Household, closed: Mapping[str, Any]) -> list[int]:
    """The calendar years closed whole, which an annual packet can be issued for; newest first."""
    years = sorted({int(month[:4]) for month in closed}, reverse=True)
    return [
        year
        for year in years
        if (months := expected_months(household, year)) and all(one in closed for one in months)
    ]


def _deductions(access: Any, report: dict[str, Any]) -> dict[str, Any]:
    """The deductions by year with the way into their trace, for those who may follow it."""
    years = sorted(report["deductions"], reverse=True)
    if not years or not access.can("trace.view"):
        return {"deductions": [], "trace_year": None}
    rows = [report["deductions"][year] | {"year": int(year)} for year in years]
    return {"deductions": rows, "trace_year": int(years[0])}


def with_ids(household_id: UUID, findings: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Findings of a report with the ids of their rows on the list, where they are open there."""
    rows = Finding.objects.filter(household_id=household_id, open=True)
    ids = {(code, key): found for code, key, found in rows.values_list("code", "key", "pk")}
    return [one | {"id": ids.get((one["code"], one["key"]))} for one in findings]


def month_page_of(access: Any, ref: str, month: str) -> dict[str, Any] | None:
    """What a month's page shows; None when the month is not closed."""
    row = access.household(ref)
    if not _MONTH.match(month):
        return None
    household = household_value(row)
    shows = access.can("finding.view")
    drift = findings_at(row.pk, month) if shows else []
    page = month_page(household, stored_report(row.pk, household).report, month, drift)
    if page is None:
        return None
    restated = []
    if access.can("trace.view"):
        restated = month_restatements(row, month, revisions(row.pk))
    thresholds = thresholds_json(thresholds_in_force(access.firm_id))
    return page | {"shows_findings": shows, "restated": restated, "thresholds": thresholds}


@dataclass(frozen=True, slots=True)
class Proposable:
    """A household's row and facts, its plan's version in force, its opening classes.

    `on_file` is None without a plan.
    """

    row: Any
    household: Household
    on_file: PlanOnFile | None
    traced: Mapping[str, OpeningClasses]


def plan_to_propose(access: Any, ref: str) -> Proposable:
    """What a proposal is made of: the household with the plan in force."""
    row = access.household(ref)
    household = household_value(row)
    found = in_force(PlanVersion.objects.filter(household=row), None)
    if found is None or household.plan is None:
        return Proposable(row, household, None, {})
    on_file = PlanOnFile(found.number, found.digest, localdate(found.recorded_at))
    eve = household.plan.starts - timedelta(days=1)
    return Proposable(row, household, on_file, opening_classes(household, eve))


def stored_packet(access: Any, ref: str, packet_id: UUID) -> Packet | None:
    """A packet with its bytes; None when the household has no such packet stored."""
    row = access.household(ref)
    rows = Packet.objects.filter(household_id=row.pk, pk=packet_id, state="stored")
    found = rows.select_related("household").first()
    if found is not None:
        year = found.period[:4]
        access.require_year(row, int(year) if year.isdigit() else None)
    return found


def _packets(row: Any) -> Any:
    found = Packet.objects.filter(household_id=row.pk).defer(
        "pdf", "xlsx", "tables", "snapshot", "toolchain"
    )
    found = found.annotate(month_digests=KeyTransform("month_digests", "snapshot"))
    return found.select_related("household").order_by("-period", "language", "-version")


def _with_newest(packets: Any) -> list[tuple[int, Packet]]:
    """Every packet with the newest stored version of its series."""
    listed = list(packets)
    newest: dict[tuple[str, str, str], int] = {}
    for one in listed:
        series = (one.kind, one.period, one.language)
        if one.state == "stored":
            newest[series] = max(one.version, newest.get(series, 0))
    return [(newest.get((one.kind, one.period, one.language), 0), one) for one in listed]


def _standing(one: Any, newest: int, closed: dict[str, Any], found: Revisions) -> dict[str, Any]:
    """Whether a packet still stands: replaced by a later version, or restated since."""
    return {
        "replaced_by": newest if newest > one.version else None,
        "restated": packet_difference(one.month_digests, closed, found),
    }


def _packet(one: Packet, language: str) -> dict[str, Any]:
    return {
        "id": one.pk,
        "period": _period(one, language),
        "name": one.file_name,
        "version": one.version,
        "language": one.language,
        "as_of": one.as_of,
        "sha256": one.pdf_sha256,
        "stored": one.state == "stored",
        "forms": ("xlsx", "csv") if one.kind == "annual" else (),
        "state": PACKET_WORDS[one.state],
    }


def _period(one: Packet, language: str) -> str:
    """A packet's period in words: its quarter, or the plan's version."""
    if one.kind == "proposal":
        return _("Plan %(number)s") % {"number": one.period.removeprefix("plan")}
    if one.kind == "annual":
        return _("Year %(year)s") % {"year": one.period}
    year, quarter = one.period.split("-Q")
    return formatting.quarter(int(year), int(quarter), language)
