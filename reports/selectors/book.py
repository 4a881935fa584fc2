"""The book: the firm's households as a work list, most urgent first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from django.db.models import (
    Case,
    Count,
    Exists,
    IntegerField,
    Min,
    OuterRef,
    Q,
    QuerySet,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Coalesce

from ledger.models import Finding, HouseholdMonth
from planning.core.money import text_from_cents
from planning.core.months import last_day, month_of
from reports.packets.findings import (
    EXPOSURES,
    INSIDE_MIXED_LINE,
    by_severity,
    due_by,
    ordered,
    steps,
)
from reports.packets.values import SEVERITIES
from reports.selectors.pages import conversion
from reports.selectors.stored import latest_balances

PAGE_SIZE = 25
NOT_URGENT = len(SEVERITIES)
GRACE = timedelta(days=10)


@dataclass(frozen=True, slots=True)
class Filters:
    """What the reader of the book asked for; empty means everything."""

    q: str = ""
    severity: str = ""
    province: str = ""
    advisor: str = ""
    page: int = 1

    @classmethod
    def read(cls, query: Any) -> Filters:
        """From a query string; what makes no sense counts as not asked for."""
        severity = str(query.get("severity", ""))
        number = str(query.get("page", "1"))
        return cls(
            q=str(query.get("q", "")).strip().replace("\x00", "")[:80],
            severity=severity if severity in SEVERITIES else "",
            province=str(query.get("province", ""))[:2].replace("\x00", ""),
            advisor=str(query.get("advisor", ""))[:200].replace("\x00", ""),
            page=int(number) if number.isdecimal() and len(number) < 7 else 1,
        )

    def link(self, **changes: Any) -> str:
        """The query string of these filters with some of them changed."""
        asked = {
            "q": self.q,
            "severity": self.severity,
            "province": self.province,
            "advisor": self.advisor,
            "page": self.page,
        } | changes
        kept = {
            name: value for name, value in asked.items() if value and (name, value) != ("page", 1)
        }
        return "?" + urlencode(kept)


def working() -> Q:
    """Findings that still ask for something: open and not accepted by a person."""
    return Q(open=True) & ~Q(state="accepted")


def adding_up() -> Q:
    """Findings whose dollars may be added up (see reports.packets.findings.counted)."""
    mixed = Finding.objects.filter(
        working(), household_id=OuterRef("household_id"), code="mixed-line"
    )
    return ~Q(code__in=EXPOSURES) & ~(Q(code__in=INSIDE_MIXED_LINE) & Exists(mixed))


def book_page(access: Any, filters: Filters) -> dict[str, Any]:
    """One page of the book, its tiles and the choices of its filters."""
    visible = access.households()
    found = _filtered(visible, filters)
    total = found.count()
    count = max(1, -(-total // PAGE_SIZE))
    number = min(max(1, filters.page), count)
    start = (number - 1) * PAGE_SIZE
    rows = _rows(list(_urgent_first(found)[start : start + PAGE_SIZE]))
    choices = sorted({(one or "", mail or "") for one, mail in _choices(visible)})
    return {
        "total": total,
        "rows": rows,
        "tiles": _tiles(visible, filters),
        "filters": filters,
        "filtered": filters != Filters(page=filters.page),
        "severities": SEVERITIES,
        "provinces": sorted({one for one, _ in choices if one}),
        "advisors": sorted({mail for _, mail in choices if mail}),
        "number": number,
        "count": count,
        "previous": filters.link(page=number - 1) if number > 1 else None,
        "next": filters.link(page=number + 1) if number < count else None,
        "last_closed": max(
            (row["last_closed"] for row in rows if row["last_closed"]), default=None
        ),
    }


def _choices(visible: QuerySet[Any]) -> QuerySet[Any]:
    return visible.order_by().values_list("province", "advisor_email").distinct()


def _filtered(visible: QuerySet[Any], filters: Filters) -> QuerySet[Any]:
    found = visible
    if filters.q:
        found = found.filter(Q(name__icontains=filters.q) | Q(ref__icontains=filters.q))
    if filters.province:
        found = found.filter(province=filters.province)
    if filters.advisor:
        found = found.filter(advisor_email=filters.advisor)
    if filters.severity:
        mine = Finding.objects.filter(
            working(), household_id=OuterRef("pk"), severity=filters.severity
        )
        found = found.filter(Exists(mine))
    return found


def _urgent_first(found: QuerySet[Any]) -> QuerySet[Any]:
    """By most urgent severity, then by dollars of drift, then by reference."""
    mine = Q(findings__open=True) & ~Q(findings__state="accepted")
    urgency = Case(
        *(
            When(mine & Q(findings__severity=name), then=Value(index))
            for index, name in enumerate(SEVERITIES)
        ),
        default=Value(NOT_URGENT),
        output_field=IntegerField(),
    )
    dollars = Sum(
        "findings__dollars_cents", filter=mine & ~Q(findings__code__in=EXPOSURES), default=0
    )
    changed = HouseholdMonth.objects.filter(household_id=OuterRef("pk"), state="done").exclude(
        stale_reason=""
    )
    return found.annotate(
        urgency=Coalesce(Min(urgency), NOT_URGENT), drift_cents=dollars, stale=Exists(changed)
    ).order_by("urgency", "-drift_cents", "ref")


def _rows(households: list[Any]) -> list[dict[str, Any]]:
    ids = [one.pk for one in households]
    findings: dict[Any, list[Any]] = {}
    for finding in Finding.objects.filter(working(), household_id__in=ids):
        findings.setdefault(finding.household_id, []).append(finding)
    latest = latest_balances(ids)
    return [
        _row(one, findings.get(one.pk, []), latest.get(one.pk), stale=one.stale)
        for one in households
    ]


def _row(
    household: Any, findings: list[Any], latest: dict[str, Any] | None, *, stale: bool
) -> dict[str, Any]:
    closed = None if latest is None else month_of(latest["month"])
    as_of = date.min if closed is None else last_day(closed) + GRACE
    shown = ordered([finding_json(one) for one in findings])
    todo = steps(shown)
    due = min(filter(None, (due_by(one, as_of) for one in todo)), default=None)
    share, words = (
        (None, "")
        if latest is None
        else conversion(latest["eligible"], latest["mortgage_closing"], latest["line_closing"])
    )
    severities = by_severity(shown)
    return {
        "ref": household.ref,
        "name": household.name,
        "province": household.province,
        "advisor": household.advisor_email,
        "top": todo[0] if todo else None,
        "more": max(0, len(todo) - 1),
        "severities": severities,
        "dollars": [one for one in severities if one["dollars"] != "0.00"],
        "due": due,
        "last_closed": closed,
        "stale": stale,
        "share": share,
        "share_text": words,
    }


def finding_json(one: Any) -> dict[str, Any]:
    """A row of the list of findings in the report's terms."""
    return {
        "id": one.pk,
        "code": one.code,
        "key": one.key,
        "severity": one.severity,
        "first": month_of(one.first_month),
        "last": month_of(one.last_month),
        "dollars": text_from_cents(one.dollars_cents),
        "cost_per_year": text_from_cents(one.cost_per_year_cents),
        "open": one.open,
    }


def _tiles(visible: QuerySet[Any], filters: Filters) -> list[dict[str, Any]]:
    """Per severity: dollars that may be added up, and how many households have it."""
    found = (
        Finding.objects.filter(working(), household_id__in=visible.order_by().values("pk"))
        .values("severity")
        .annotate(
            households=Count("household_id", distinct=True),
            cents=Sum("dollars_cents", filter=adding_up(), default=0),
        )
    )
    by_name = {row["severity"]: row for row in found}
    nothing = {"households": 0, "cents": 0}
    return [
        {
            "severity": name,
            "households": by_name.get(name, nothing)["households"],
            "dollars": text_from_cents(by_name.get(name, nothing)["cents"]),
            "link": filters.link(severity=name, page=1),
            "chosen": filters.severity == name,
        }
        for name in SEVERITIES
    ]
