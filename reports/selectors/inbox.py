"""The inbox: every open finding of the households in view, gravest first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.db.models import (
    Case,
    DateField,
    Exists,
    F,
    Func,
    IntegerField,
    OuterRef,
    Q,
    QuerySet,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Cast, Least, Right

from ledger.models import Finding, StandingCount
from planning.core.money import text_from_cents
from planning.core.months import month_of
from planning.models import Delegation, Household, Membership
from reports.packets.finding_words import FINDING_WORDS
from reports.packets.findings import DAYS_BY_SEVERITY
from reports.packets.values import SEVERITIES
from reports.selectors.book import GRACE, working

PAGE_SIZE = 50
NEVER = date(9999, 12, 31)
"""Where a finding without a date stands in the order."""
STATES = ("working", "open", "seen", "accepted", "any")
WORKERS = ("principal", "advisor", "assistant")


@dataclass(frozen=True, slots=True)
class Filters:
    """What the reader of the inbox asked for; empty means everything still to be worked on.

    `after` is the place in the order after which the page begins.
    """

    severity: str = ""
    code: str = ""
    state: str = ""
    assigned: str = ""
    advisor: str = ""
    household: str = ""
    after: str = ""

    @classmethod
    def read(cls, query: Any) -> Filters:
        """From a query string; what makes no sense counts as not asked for."""

        def one_of(name: str, known: Any) -> str:
            found = str(query.get(name, ""))
            return found if found in known else ""

        after = str(query.get("after", ""))[:120]
        return cls(
            severity=one_of("severity", SEVERITIES),
            code=one_of("code", FINDING_WORDS),
            state=one_of("state", STATES[1:]),
            assigned=one_of("assigned", ("me", "nobody")),
            advisor=str(query.get("advisor", ""))[:200].replace("\x00", ""),
            household=str(query.get("household", ""))[:80].replace("\x00", ""),
            after=after if _place(after) else "",
        )

    def link(self, **changes: str) -> str:
        """The query string of these filters with some of them changed."""
        asked = {
            name: getattr(self, name)
            for name in (
                "severity",
                "code",
                "state",
                "assigned",
                "advisor",
                "household",
                "after",
            )
        } | changes
        return "?" + urlencode({name: value for name, value in asked.items() if value})


def _place(text: str) -> tuple[int, int, date, UUID] | None:
    """A place in the order from its text; None when it is none."""
    parts = text.split("_")
    if len(parts) != 4 or not all(one.isascii() and one.isdecimal() for one in parts[:2]):
        return None
    try:
        place = int(parts[0]), int(parts[1]), date.fromisoformat(parts[2]), UUID(parts[3])
    except ValueError:
        return None
    return place if place[0] <= len(SEVERITIES) and place[1] < 2**62 else None


def visible_findings(access: Any) -> QuerySet[Finding]:
    """The findings of the households in view; none for a role that may not see findings."""
    rows: QuerySet[Finding] = access.scope(Finding.objects.all())
    return rows if access.can("finding.view") else rows.none()


def unseen_count(access: Any) -> int:
    """How many open findings to act on or fix nobody has looked at yet; kept as a counter."""
    if not access.can("finding.view"):
        return 0
    books = access.books()
    counts = StandingCount.objects.filter(firm_id=access.firm_id, facet="unseen")
    counts = (
        counts.filter(scope=access.firm_id) if books is None else counts.filter(scope__in=books)
    )
    return int(counts.aggregate(n=Sum("cents"))["n"] or 0)


def inbox_page(access: Any, filters: Filters) -> dict[str, Any]:
    """One page of the inbox with the choices of its filters and acts."""
    mine = visible_findings(access)
    found = in_order(_filtered(mine, access, filters))
    total = found.count()
    place = _place(filters.after)
    page = found if place is None else found.filter(_later(place))
    rows = list(page.select_related("household", "assignee__user")[: PAGE_SIZE + 1])
    shown = rows[:PAGE_SIZE]
    return {
        "total": total,
        "rows": [_row(one, access) for one in shown],
        "filters": filters,
        "filtered": filters != Filters(after=filters.after),
        "severities": SEVERITIES,
        "codes": sorted(set(mine.filter(open=True).values_list("code", flat=True))),
        "states": STATES[1:],
        "advisors": advisors(access),
        "members": assignable(access),
        "next": filters.link(after=_text(shown[-1])) if len(rows) > PAGE_SIZE else None,
        "first": filters.link(after="") if place is not None else None,
        "may_accept": access.can("finding.accept"),
    }


def _filtered(rows: QuerySet[Finding], access: Any, filters: Filters) -> QuerySet[Finding]:
    states = {
        "": working(),
        "open": Q(open=True, state="open"),
        "seen": Q(open=True, state="seen"),
        "accepted": Q(open=True, state="accepted"),
        "any": Q(open=True),
    }
    found = rows.filter(states[filters.state])
    if filters.severity:
        found = found.filter(severity=filters.severity)
    if filters.code:
        found = found.filter(code=filters.code)
    if filters.assigned == "me":
        found = found.filter(assignee_id=access.membership_id)
    elif filters.assigned == "nobody":
        found = found.filter(assignee__isnull=True)
    if filters.advisor:
        found = found.filter(household__advisor_email=filters.advisor)
    if filters.household:
        found = found.filter(household__ref=filters.household)
    return found


def in_order(rows: QuerySet[Finding]) -> QuerySet[Finding]:
    """Gravest first, then most dollars, then the nearest date, then by id: a total order.

    `due` is `reports.packets.findings.due_by` said to the database.
    """
    rank = Case(
        *(When(severity=name, then=Value(at)) for at, name in enumerate(SEVERITIES)),
        default=Value(len(SEVERITIES)),
        output_field=IntegerField(),
    )
    from_close = {
        name: Func(
            F("last_month"),
            Value(GRACE + timedelta(days=days)),
            template="((%(expressions)s)::timestamp)::date",
            arg_joiner=" + interval '1 month' - interval '1 day' + ",
            output_field=DateField(),
        )
        for name, days in DAYS_BY_SEVERITY.items()
    }
    year_end = Func(
        F("last_month"),
        Value(GRACE),
        template="make_date(extract(year from %(expressions)s)::int, 12, 31)",
        arg_joiner=" + interval '1 month' - interval '1 day' + ",
        output_field=DateField(),
    )
    due = Case(
        When(
            code="renewal-due",
            key__regex=r":[0-9]{4}-[0-9]{2}-[0-9]{2}$",
            then=Cast(Right("key", 10), DateField()),
        ),
        *(
            When(code="interest-unpaid", severity=name, then=Least(day, year_end))
            for name, day in from_close.items()
        ),
        *(When(severity=name, then=day) for name, day in from_close.items()),
        default=Value(NEVER),
        output_field=DateField(),
    )
    return rows.annotate(rank=rank, due=due).order_by("rank", "-dollars_cents", "due", "pk")


def _later(place: tuple[int, int, date, UUID]) -> Q:
    """The findings that stand after a place in the order."""
    rank, dollars, due, last = place
    return (
        Q(rank__gt=rank)
        | Q(rank=rank, dollars_cents__lt=dollars)
        | Q(rank=rank, dollars_cents=dollars, due__gt=due)
        | Q(rank=rank, dollars_cents=dollars, due=due, pk__gt=last)
    )


def _text(one: Any) -> str:
    return f"{one.rank}_{one.dollars_cents}_{one.due.isoformat()}_{one.pk}"


def _row(one: Any, access: Any) -> dict[str, Any]:
    return {
        "id": one.pk,
        "code": one.code,
        "key": one.key,
        "severity": one.severity,
        "state": one.state,
        "until": one.accepted_until,
        "dollars": text_from_cents(one.dollars_cents),
        "cost_per_year": text_from_cents(one.cost_per_year_cents),
        "first": month_of(one.first_month),
        "due": None if one.due == NEVER else one.due,
        "ref": one.household.ref,
        "name": one.household.name,
        "assignee": one.assignee.user.email if one.assignee_id else "",
        "mine": one.assignee_id is not None and one.assignee_id == access.membership_id,
    }


def advisors(access: Any) -> list[str]:
    """The advisors of the households in view, by address."""
    named = access.households().exclude(advisor_email=None).exclude(advisor_email="")
    return sorted(set(named.order_by().values_list("advisor_email", flat=True)))


def assignable(access: Any, household: Household | None = None) -> list[dict[str, Any]]:
    """Staff a finding can be given to: of one household, or of any in view.

    The principals, the household's advisor and that advisor's assistants.
    """
    rows = access.households() if household is None else Household.objects.filter(pk=household.pk)
    books = rows.order_by().values("advisor_id")
    helps = Delegation.objects.filter(assistant_id=OuterRef("pk"), advisor_id__in=books)
    found = Membership.objects.filter(
        Q(role="principal") | Q(role="advisor", pk__in=books) | Q(Exists(helps), role="assistant"),
        firm_id=access.firm_id,
        active=True,
    )
    return [
        {"id": one.pk, "email": one.user.email, "mine": one.pk == access.membership_id}
        for one in found.select_related("user").order_by("user__email")
    ]
