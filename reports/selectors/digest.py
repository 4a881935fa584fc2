"""What needs a member today, over the households in their view."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db.models import Count
from django.urls import reverse

from config.problems import BadInput
from ledger.models import Finding, HouseholdMonth
from planning.access import Access
from planning.core.money import cents_from_text, text_from_cents
from planning.core.months import first_day, last_day, month_of
from planning.core.types import Household
from reports.models import Packet
from reports.packets.findings import by_severity, ordered
from reports.packets.instructions import dated_instructions, renewals_ahead
from reports.packets.values import SEVERITIES
from reports.selectors.ahead import households_ahead
from reports.selectors.book import finding_json, working

RENEWAL_DAYS = 120
REBORROW_DAYS = 7
SHOWN = 50
REBORROW_KINDS = ("catch-up", "reborrow")
MISSING = "statement-missing"


@dataclass(frozen=True, slots=True)
class Entry:
    """One household with something to do. Amounts are decimal strings, dates ISO."""

    ref: str
    name: str
    link: str
    findings: tuple[dict[str, Any], ...] = ()
    reborrow: tuple[dict[str, Any], ...] = ()
    renewals: tuple[dict[str, Any], ...] = ()
    missing: int = 0
    parked: int = 0
    packets: int = 0

    @property
    def busy(self) -> bool:
        """Whether anything stands here."""
        return bool(
            self.findings
            or self.reborrow
            or self.renewals
            or self.missing
            or self.parked
            or self.packets
        )


@dataclass(frozen=True, slots=True)
class Digest:
    """A member's day: totals over every household in view, and the most urgent entries."""

    day: date
    households: int
    severities: tuple[dict[str, Any], ...]
    reborrow: int
    renewals: int
    missing: int
    parked: int
    packets: int
    entries: tuple[Entry, ...]
    more: int
    links: dict[str, str] = field(default_factory=dict)

    @property
    def quiet(self) -> bool:
        """Whether nothing needs anybody."""
        return not self.entries


def digest_of(access: Access, day: date) -> Digest:
    """The digest of a member for a date of their firm, within the firm's scope."""
    rows = list(access.households().order_by("ref"))
    ids = [row.pk for row in rows]
    findings: dict[UUID, list[dict[str, Any]]] = defaultdict(list)
    for one in Finding.objects.filter(working(), household_id__in=ids):
        findings[one.household_id].append(finding_json(one))
    parked = _counts(HouseholdMonth.objects.filter(household_id__in=ids, state="parked"))
    waiting = _counts(HouseholdMonth.objects.filter(household_id__in=ids, state="waiting"))
    unready = Packet.objects.filter(household_id__in=ids).exclude(state="stored")
    packets = _counts(unready)
    entries = []
    for row, household in households_ahead(rows):
        found = ordered(findings.get(row.pk, []))
        missing = sum(one["code"] == MISSING for one in found)
        reborrow, renewals = _ahead(household, found, day)
        entries.append(
            Entry(
                ref=row.ref,
                name=row.name,
                link=link("household", row.ref),
                findings=tuple(by_severity(found)),
                reborrow=tuple(reborrow),
                renewals=tuple(renewals),
                missing=max(missing, waiting.get(row.pk, 0)),
                parked=parked.get(row.pk, 0),
                packets=packets.get(row.pk, 0),
            )
        )
    busy = sorted((one for one in entries if one.busy), key=_urgency)
    return Digest(
        day=day,
        households=len(rows),
        severities=_totals(busy),
        reborrow=sum(len(one.reborrow) for one in busy),
        renewals=sum(len(one.renewals) for one in busy),
        missing=sum(one.missing for one in busy),
        parked=sum(one.parked for one in busy),
        packets=sum(one.packets for one in busy),
        entries=tuple(busy[:SHOWN]),
        more=max(0, len(busy) - SHOWN),
        links={"book": link("book"), "notices": link("my_notices")},
    )


def link(name: str, *args: str) -> str:
    """A page's address as people type it."""
    return settings.PUBLIC_URL + reverse(name, args=args)


def reborrow_dates(
    household: Household, findings: list[dict[str, Any]], first: date, last: date
) -> list[dict[str, Any]]:
    """Re-borrow instructions dated `first` to `last`; none when the plan cannot be played on."""
    report = {"drift": findings, "plan": []}
    starts, ends = first_day(month_of(first)), last_day(month_of(last))
    try:
        rows, _ = dated_instructions(household, report, starts, ends, first)
    except BadInput:
        return []
    return [
        row
        for row in rows
        if row["kind"] in REBORROW_KINDS and first.isoformat() <= row["date"] <= last.isoformat()
    ]


def _ahead(
    household: Household, findings: list[dict[str, Any]], day: date
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    renewals = [one for one in renewals_ahead(household, day) if one["days"] <= RENEWAL_DAYS]
    last = day + timedelta(days=REBORROW_DAYS)
    return reborrow_dates(household, findings, day, last), renewals


def _counts(rows: Any) -> dict[UUID, int]:
    return dict(rows.order_by().values_list("household_id").annotate(Count("pk")))


def _urgency(entry: Entry) -> tuple[int, int, str]:
    """Gravest first, then most dollars, then by reference."""
    if not entry.findings:
        return len(SEVERITIES), 0, entry.ref
    top = entry.findings[0]
    return SEVERITIES.index(top["severity"]), -cents_from_text(top["dollars"]), entry.ref


def _totals(entries: list[Entry]) -> tuple[dict[str, Any], ...]:
    """Findings by severity over all households, with the dollars that may be added up."""
    rows = []
    for severity in SEVERITIES:
        mine = [one for entry in entries for one in entry.findings if one["severity"] == severity]
        if mine:
            cents = sum(cents_from_text(one["dollars"]) for one in mine)
            count = sum(one["count"] for one in mine)
            rows.append({"severity": severity, "count": count, "dollars": text_from_cents(cents)})
    return tuple(rows)
