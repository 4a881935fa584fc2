"""The book as a work list: who needs what, most urgent first, page after page.

Two questions to the database whatever the size of the book: the page's rows, a
walk along an index of standings, and everything around them (counts, saved views,
colleagues) in one.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.db.models import (
    BigIntegerField,
    Case,
    CharField,
    Exists,
    F,
    OuterRef,
    Q,
    QuerySet,
    Sum,
    Value,
    When,
)
from django.db.models.fields.tuple_lookups import TupleGreaterThan
from django.db.models.functions import Cast, Coalesce, Concat

from ledger.models import HouseholdStanding, HouseholdWord, StandingCount
from ledger.models.standing import CLEAR
from ledger.standing_sql import PLAIN_FROM, PLAIN_TO
from planning.core.money import text_from_cents
from planning.core.months import month_of
from planning.models import Delegation, Membership
from reports.models import SavedView
from reports.packets.finding_words import FINDING_WORDS
from reports.packets.values import SEVERITIES
from reports.selectors.pages import conversion

PAGE_SIZE = 50
RENEWAL_DAYS = (30, 60, 120, 365)
STATES = ("open", "seen", "accepted")
MISSING = "statement-missing"
MOST_WORDS = 5
_PLAIN = str.maketrans(PLAIN_FROM, PLAIN_TO)


@dataclass(frozen=True, slots=True)
class Filters:
    """What the reader of the work list asked for; empty means everything.

    `after` is the place in the order after which the page begins.
    """

    q: str = ""
    severity: str = ""
    code: str = ""
    state: str = ""
    assigned: str = ""
    advisor: str = ""
    province: str = ""
    renewal: str = ""
    missing: str = ""
    after: str = ""

    @classmethod
    def read(cls, query: Any) -> Filters:
        """From a query string; what makes no sense counts as not asked for."""

        def text(name: str, longest: int) -> str:
            return str(query.get(name, "")).replace("\x00", "").strip()[:longest]

        def one_of(name: str, known: Any) -> str:
            found = text(name, 200)
            return found if found in known else ""

        assigned, after = text("assigned", 40), text("after", 120)
        return cls(
            q=text("q", 80),
            severity=one_of("severity", SEVERITIES),
            code=one_of("code", FINDING_WORDS),
            state=one_of("state", STATES),
            assigned=assigned if assigned in ("me", "nobody") or _uuid(assigned) else "",
            advisor=text("advisor", 200),
            province=text("province", 2),
            renewal=one_of("renewal", [str(one) for one in RENEWAL_DAYS]),
            missing=one_of("missing", ("1",)),
            after=after if _place(after) else "",
        )

    def link(self, **changes: str) -> str:
        """The query string of these filters with some of them changed."""
        asked = {one.name: getattr(self, one.name) for one in fields(self)} | changes
        return "?" + urlencode({name: value for name, value in asked.items() if value})


def _uuid(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None


def _place(text: str) -> tuple[int, int, str] | None:
    """A place in the order from its text; None when it is none."""
    urgency, _, rest = text.partition("_")
    drift, _, ref = rest.partition("_")
    if not ref or urgency not in ("0", "1", "2", "3", "4"):
        return None
    digits = drift.removeprefix("-")
    if not (digits.isascii() and digits.isdecimal() and len(digits) < 18):
        return None
    return int(urgency), int(drift), ref


def standings(access: Any) -> QuerySet[HouseholdStanding]:
    """Where the households in view stand; none for a role that may not see findings."""
    rows: QuerySet[HouseholdStanding] = HouseholdStanding.objects.filter(firm_id=access.firm_id)
    if not access.can("finding.view"):
        return rows.none()
    books = access.books()
    return rows if books is None else rows.filter(advisor_id__in=books)


def worklist_page(access: Any, filters: Filters, today: date) -> dict[str, Any]:
    """One page of the work list, its tiles, the choices of its filters, views and acts."""
    place = _place(filters.after)
    found = _filtered(standings(access), access, filters, today)
    found = found.order_by("urgency", "minus_drift_cents", "ref")
    if place is not None:
        found = found.filter(
            TupleGreaterThan((F("urgency"), F("minus_drift_cents"), F("ref")), place)
        )
    rows = list(found[: PAGE_SIZE + 1])
    shown = rows[:PAGE_SIZE]
    around = _around(access, today)
    more = len(rows) > PAGE_SIZE
    last = shown[-1] if shown else None
    return {
        "rows": [_row(one, today) for one in shown],
        "filters": filters,
        "filtered": filters != Filters(after=filters.after),
        "total": around.households("all", ""),
        "found": _found(filters, around),
        "tiles": [around.tile(name, filters) for name in SEVERITIES],
        "severities": SEVERITIES,
        "choices": _choices(around, filters, access),
        "views": [
            one | {"current": one["query"] == filters.link(after="")} for one in around.views
        ],
        "members": around.members,
        "next": filters.link(after=_text(last)) if more and last else None,
        "first": filters.link(after="") if place is not None else None,
        "unseen": around.counts.get(("unseen", ""), (0, 0))[1],
        "may_close": access.can("month.close"),
        "may_work": access.can("finding.work"),
        "may_save": access.can("view.save"),
    }


def _text(one: HouseholdStanding) -> str:
    return f"{one.urgency}_{one.minus_drift_cents}_{one.ref}"


def _filtered(
    rows: QuerySet[HouseholdStanding], access: Any, filters: Filters, today: date
) -> QuerySet[HouseholdStanding]:
    asked = Q()
    if filters.severity:
        asked &= Q(severities__contains=[filters.severity])
    if filters.code:
        asked &= Q(codes__contains=[filters.code])
    if filters.state:
        asked &= Q(states__contains=[filters.state])
    if filters.missing:
        asked &= Q(codes__contains=[MISSING])
    if filters.assigned == "nobody":
        asked &= Q(assignees=[], urgency__lt=CLEAR)
    elif filters.assigned:
        member = access.membership_id if filters.assigned == "me" else UUID(filters.assigned)
        asked &= Q(assignees__contains=[member])
    if filters.advisor:
        asked &= Q(advisor_email=filters.advisor)
    if filters.province:
        asked &= Q(province=filters.province)
    if filters.renewal:
        asked &= Q(renewal__lte=today + timedelta(days=int(filters.renewal)))
    for word in plain(filters.q).split()[:MOST_WORDS]:
        words = HouseholdWord.objects.filter(
            firm_id=access.firm_id,
            household_id=OuterRef("household_id"),
            word__gte=word,
            word__lt=word + "\U0010ffff",
        )
        asked &= Q(Exists(words))
    return rows.filter(asked)


def plain(text: str) -> str:
    """Words as they are searched for: small letters without accents."""
    return text.lower().translate(_PLAIN)


def _row(one: HouseholdStanding, today: date) -> dict[str, Any]:
    closed = one.last_closed
    share, words = (
        (None, "")
        if closed is None or one.eligible_cents is None
        else conversion(
            text_from_cents(one.eligible_cents),
            text_from_cents(one.mortgage_cents or 0),
            text_from_cents(one.line_cents or 0),
        )
    )
    return {
        "id": one.household_id,
        "ref": one.ref,
        "name": one.name,
        "province": one.province,
        "advisor": one.advisor_email,
        "top": one.top,
        "code": one.top_code,
        "severity": SEVERITIES[one.urgency] if one.urgency < CLEAR else "",
        "more": one.more,
        "dollars": [
            (name, text_from_cents(cents))
            for name, cents in zip(one.severities, one.severity_cents, strict=True)
            if cents
        ],
        "due": one.due,
        "late": one.due is not None and one.due < today,
        "last_closed": closed and month_of(closed),
        "stale": one.stale,
        "renewal": one.renewal,
        "share": share,
        "share_text": words,
    }


@dataclass(frozen=True, slots=True)
class _Around:
    """Counts by facet and value, saved views, and the colleagues work can be given to."""

    counts: dict[tuple[str, str], tuple[int, int]]
    views: list[dict[str, Any]]
    members: list[dict[str, Any]]

    def households(self, facet: str, value: str) -> int:
        """How many households of the book have this."""
        return self.counts.get((facet, value), (0, 0))[0]

    def of(self, facet: str) -> list[tuple[str, int]]:
        """The values of a facet that some household has, with their counts."""
        return sorted(
            (value, number)
            for (name, value), (number, _) in self.counts.items()
            if name == facet and number > 0
        )

    def tile(self, severity: str, filters: Filters) -> dict[str, Any]:
        """A severity's households and dollars in the whole book, with the way to them."""
        number, cents = self.counts.get(("severity", severity), (0, 0))
        chosen = filters.severity == severity
        return {
            "severity": severity,
            "households": number,
            "dollars": text_from_cents(cents),
            "link": filters.link(severity="" if chosen else severity, after=""),
            "chosen": chosen,
        }


def _around(access: Any, today: date) -> _Around:
    """Everything around the rows by one question of three parts."""
    books = access.books()
    counts = StandingCount.objects.filter(firm_id=access.firm_id)
    if books is None:
        counts = counts.filter(scope=access.firm_id)
    else:
        counts = counts.filter(scope__in=books)
    last = today + timedelta(days=RENEWAL_DAYS[-1])
    soon = [
        When(facet="renewal", value__lte=(today + timedelta(days=days)).isoformat(), then=Value(at))
        for at, days in zip(map(str, RENEWAL_DAYS), RENEWAL_DAYS, strict=True)
    ]
    summed = (
        counts.filter(~Q(facet="renewal") | Q(value__lte=last.isoformat()))
        .annotate(kind=F("facet"), key=Case(*soon, default=F("value"), output_field=CharField()))
        .values("kind", "key")
        .annotate(
            n=Cast(Sum("households"), BigIntegerField()),
            cents=Cast(Sum("cents"), BigIntegerField()),
            words=Value("", CharField()),
        )
        .values_list("kind", "key", "n", "cents", "words")
    )
    views = (
        SavedView.objects.filter(firm_id=access.firm_id)
        .filter(Q(owner_id=access.membership_id) | Q(shared=True))
        .annotate(
            kind=Case(
                When(owner_id=access.membership_id, then=Value(" mine")),
                default=Value(" firm"),
                output_field=CharField(),
            ),
            key=Cast("pk", CharField()),
            n=Case(
                When(shared=True, then=Value(1)), default=Value(0), output_field=BigIntegerField()
            ),
            cents=Value(0, BigIntegerField()),
            words=Concat("name", Value("\n"), "query"),
        )
        .values_list("kind", "key", "n", "cents", "words")
    )
    members = (
        _colleagues(access, books)
        .annotate(
            kind=Value(" member", CharField()),
            key=Cast("pk", CharField()),
            n=Value(0, BigIntegerField()),
            cents=Value(0, BigIntegerField()),
            words=Coalesce("user__email", Value("")),
        )
        .values_list("kind", "key", "n", "cents", "words")
    )
    return _read(list(summed.union(views, members, all=True)), access)


def _read(rows: list[Any], access: Any) -> _Around:
    counts: dict[tuple[str, str], tuple[int, int]] = {}
    views: list[dict[str, Any]] = []
    members: list[dict[str, Any]] = []
    for kind, key, number, cents, words in rows:
        if kind in (" mine", " firm"):
            name, _, query = words.partition("\n")
            views.append(
                {"id": key, "name": name, "query": query, "mine": kind == " mine", "shared": number}
            )
        elif kind == " member":
            members.append({"id": key, "email": words, "mine": key == str(access.membership_id)})
        else:
            counts[kind, key] = (number, cents)
    return _Around(
        counts,
        sorted(views, key=lambda one: (one["name"].lower(), one["id"])),
        sorted(members, key=lambda one: one["email"]),
    )


def _colleagues(access: Any, books: Any) -> QuerySet[Membership]:
    """Staff that households in view can be given to; a service refuses whoever cannot see one."""
    rows = Membership.objects.filter(firm_id=access.firm_id, active=True)
    if books is None:
        return rows.filter(role__in=("principal", "advisor", "assistant"))
    helps = Delegation.objects.filter(assistant_id=OuterRef("pk"), advisor_id__in=books)
    return rows.filter(
        Q(role="principal") | Q(role="advisor", pk__in=books) | Q(Exists(helps), role="assistant")
    )


def _found(filters: Filters, around: _Around) -> int | None:
    """How many households the filters leave, where a counter says it: none or one of them."""
    asked = {
        one.name: getattr(filters, one.name)
        for one in fields(filters)
        if one.name != "after" and getattr(filters, one.name)
    }
    if not asked:
        return around.households("all", "")
    if len(asked) > 1:
        return None
    ((name, value),) = asked.items()
    if name == "missing":
        return around.households("code", MISSING)
    if name == "renewal":
        upto = RENEWAL_DAYS[: RENEWAL_DAYS.index(int(value)) + 1]
        return sum(around.households("renewal", str(one)) for one in upto)
    if name in ("severity", "code", "state", "advisor", "province"):
        return around.households(name, value)
    return None


def _choices(around: _Around, filters: Filters, access: Any) -> dict[str, Any]:
    """What each filter can be set to, with the households of the whole book behind it."""
    upto = 0
    renewals = []
    for days in RENEWAL_DAYS:
        upto += around.households("renewal", str(days))
        renewals.append((str(days), upto))
    by_member = dict(around.of("assigned"))
    return {
        "severity": [(one, around.households("severity", one)) for one in SEVERITIES],
        "code": around.of("code"),
        "state": [(one, around.households("state", one)) for one in STATES],
        "advisor": around.of("advisor"),
        "province": around.of("province"),
        "renewal": renewals,
        "missing": around.households("code", MISSING),
        "me": by_member.get(str(access.membership_id), 0),
        "nobody": by_member.get("", 0),
        "members": [
            (one["id"], one["email"], by_member[one["id"]])
            for one in around.members
            if not one["mine"] and one["id"] in by_member
        ],
        "more": any((filters.code, filters.state, filters.renewal, filters.missing)),
    }
