"""The dates a member keeps in a calendar, over the households in their view."""

from __future__ import annotations

import uuid
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from ledger.core.lifecycle import waits_until
from ledger.models import Finding
from planning.access import Access
from planning.core.months import last_day, month_of, shift_month
from planning.core.types import Household
from reports.selectors.ahead import households_ahead
from reports.selectors.book import finding_json, working
from reports.selectors.digest import link, reborrow_dates

RENEWAL_ALARMS = (120, 60, 21)
MONTHS_AHEAD = 3
QUARTERS_AHEAD = 4
LOOK_BACK = timedelta(days=31)


@dataclass(frozen=True, slots=True)
class Dated:
    """One entry of a calendar. `uid` is the same whenever the same thing is listed again.

    `alarms` are days before the date; `ref` and `name` are empty for what
    concerns the whole book; `period` is a month (2026-10) or quarter (2026-Q4).
    """

    uid: str
    kind: str
    day: date
    ref: str = ""
    name: str = ""
    account: str = ""
    period: str = ""
    link: str = ""
    alarms: tuple[int, ...] = ()


def dates_of(access: Access, today: date) -> tuple[Dated, ...]:
    """Renewals, re-borrow dates, statement due dates and quarter ends, by date.

    Within the firm's scope. Empty without a household in view.
    """
    rows = list(access.households().order_by("ref"))
    if not rows:
        return ()
    findings: dict[UUID, list[dict[str, Any]]] = defaultdict(list)
    ids = [row.pk for row in rows]
    for one in Finding.objects.filter(working(), household_id__in=ids):
        findings[one.household_id].append(finding_json(one))
    found = _book_dates(access.firm_id, today)
    for row, household in households_ahead(rows):
        found += _household_dates(row, household, findings.get(row.pk, []), today)
    return tuple(sorted(found, key=lambda one: (one.day, one.kind, one.ref, one.account)))


def _household_dates(
    row: Any, household: Household, findings: list[dict[str, Any]], today: date
) -> list[Dated]:
    shared = {"ref": row.ref, "name": row.name, "link": link("household", row.ref)}
    found = [
        Dated(
            uid=_uid(row.pk, "renewal", mortgage.ref, mortgage.terms[-1].matures),
            kind="renewal",
            day=mortgage.terms[-1].matures,
            account=mortgage.ref,
            alarms=RENEWAL_ALARMS,
            **shared,
        )
        for mortgage in household.mortgages
        if mortgage.terms and mortgage.terms[-1].matures >= today - LOOK_BACK
    ]
    until = last_day(shift_month(month_of(today), MONTHS_AHEAD - 1))
    for one in reborrow_dates(household, findings, today, until):
        if one["kind"] != "reborrow":
            continue
        day = date.fromisoformat(one["date"])
        uid = _uid(row.pk, "reborrow", one["line"], day)
        found.append(Dated(uid=uid, kind="reborrow", day=day, account=one["line"], **shared))
    return list({one.uid: one for one in found}.values())


def _book_dates(firm_id: UUID, today: date) -> list[Dated]:
    """Dates of the whole book: when a month stops waiting for statements, when a quarter ends."""
    found = []
    for offset in range(-1, MONTHS_AHEAD):
        month = shift_month(month_of(today), offset)
        day = waits_until(last_day(month))
        if day >= today:
            uid = _uid(firm_id, "statements", month, day)
            found.append(
                Dated(uid=uid, kind="statements", day=day, period=month, link=link("runs"))
            )
    for offset in range(3 * QUARTERS_AHEAD):
        month = shift_month(month_of(today), offset)
        if int(month[5:]) % 3 == 0:
            period = f"{month[:4]}-Q{int(month[5:]) // 3}"
            day = last_day(month)
            uid = _uid(firm_id, "packets", period, day)
            found.append(Dated(uid=uid, kind="packets", day=day, period=period, link=link("book")))
    return found


def _uid(owner: UUID, kind: str, what: str, day: date) -> str:
    return f"{uuid.uuid5(owner, f'{kind} {what} {day.isoformat()}')}@towpath"
