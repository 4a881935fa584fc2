"""Issuing the accountant's annual packet: as other packets are, from a year closed whole."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import transaction

from ledger.selectors.uses import papers_on_file
from reports.models import Packet
from reports.packets.annual import annual_data, default_as_of, expected_months, supersession
from reports.selectors.household import household_report
from reports.services.packets import NotClosedError, keep_packet, packet_on_file

KIND = "annual"


@dataclass(frozen=True, slots=True)
class AnnualRequest:
    """What is asked for. Without a language the household's, without a date the default."""

    ref: str
    year: int
    language: str | None = None
    as_of: date | None = None


def issue_annual(*, access: Any, request: AnnualRequest) -> Packet:
    """The annual packet of a household: an equal one on file, or the next version, queued.

    A later version carries a memo of what differs from the one before. Raises
    NotClosedError when a month of the year is open or stale, NotTiedError when
    the roll-forward of a month does not tie to the statements, BadInput for a
    year without statements or a language that is not spoken, PermissionDenied
    for a role that may not issue, and what `access.household` raises for a
    household that is not to be seen.
    """
    access.require("packet.issue")
    year = request.year
    with transaction.atomic():
        row, household, stored = household_report(access, request.ref, f"{year:04d}-12")
        closed = {one["month"] for one in stored.report["months"]}
        months = expected_months(household, year)
        waiting = tuple(month for month in months if month not in closed)
        stale = tuple(month for month in months if month in stored.stale)
        if waiting or stale:
            raise NotClosedError(waiting, stale)
        language = request.language or row.language
        as_of = request.as_of or default_as_of(year)
        papers = papers_on_file(row.pk)
        data = annual_data(household, stored.report, year, language, as_of, papers)
        known = packet_on_file(row, KIND, data["input_digest"])
        if known is not None:
            return known
        period = f"{year:04d}"
        series = Packet.objects.filter(
            household_id=row.pk, kind=KIND, period=period, language=language
        )
        before = series.order_by("-version").values("version", "snapshot").first()
        if before is not None:
            data["supersedes"] = supersession(before["snapshot"], before["version"], data)
        return keep_packet(access=access, row=row, kind=KIND, period=period, data=data)
