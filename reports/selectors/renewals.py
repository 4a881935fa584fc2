"""The mortgages that come up for renewal: month by month ahead, by advisor."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.db.models import F, Sum
from django.db.models.fields.tuple_lookups import TupleGreaterThan
from django.utils.translation import gettext as _

from config.formatting import short_month
from ledger.models import StandingCount
from planning.core.money import text_from_cents
from planning.core.months import last_day, month_of, shift_month
from planning.models import Membership
from reports.charts import FIRST, SECOND, Chart
from reports.plain_drawing import Bar, bars
from reports.selectors.worklist import standings

MONTHS_AHEAD = 12
PAGE_SIZE = 50
PASSED = "passed"
_MONTH = re.compile(r"[0-9]{4}-(0[1-9]|1[0-2])\Z")


@dataclass(frozen=True, slots=True)
class Asked:
    """The month looked into ("passed": terms that ended), and the place the page begins after."""

    month: str = ""
    after: str = ""

    @classmethod
    def read(cls, query: Any) -> Asked:
        """From a query string; what makes no sense counts as not asked for."""
        month, after = str(query.get("month", "")), str(query.get("after", ""))[:120]
        good = month == PASSED or (_MONTH.match(month) and month[:4] != "0000")
        return cls(month if good else "", after if _place(after) else "")

    def link(self, after: str = "") -> str:
        """The query string of this month from a place on."""
        asked = {"month": self.month, "after": after}
        return "?" + urlencode({name: value for name, value in asked.items() if value})


def _place(text: str) -> tuple[date, str] | None:
    day, _sep, ref = text.replace("\x00", "").partition("_")
    try:
        return (date.fromisoformat(day), ref) if ref else None
    except ValueError:
        return None


def renewals_page(access: Any, asked: Asked, today: date, language: str) -> dict[str, Any]:
    """Counts of the coming months with their picture, by advisor too; the chosen month's rows.

    A household stands at the day the first of its mortgages reaches the end of its last
    term on file, with the mortgage balance of its last close.
    """
    months = [shift_month(month_of(today), ahead) for ahead in range(MONTHS_AHEAD)]
    columns = [PASSED, *months]
    counts = _counts(access, today, months)
    total = {one: sum(row.get(one, 0) for row in counts.values()) for one in columns}
    month = asked.month or next((one for one in columns if total[one]), months[0])
    chosen = Asked(month, asked.after)
    rows, more = _rows(access, chosen, today)
    return {
        "months": [(one, total[one], Asked(one).link()) for one in columns],
        "advisors": [
            (name, [row.get(one, 0) for one in columns])
            for name, row in sorted(counts.items())
            if any(row.values())
        ],
        "columns": columns,
        "chart": _chart(columns, total, language),
        "month": month,
        "rows": rows,
        "next": more,
        "first": chosen.link() if chosen.after else None,
        "any": any(total.values()),
        "through": months[-1],
    }


def _counts(access: Any, today: date, months: list[str]) -> dict[str, dict[str, int]]:
    """Households by advisor's address ("" without one) and month; from the counters."""
    last = last_day(months[-1]).isoformat()
    rows = StandingCount.objects.filter(firm_id=access.firm_id, facet="renewal", value__lte=last)
    books = access.books()
    if books is not None:
        rows = rows.filter(scope__in=books)
    summed = rows.values("scope", "value").annotate(n=Sum("households"))
    by_scope: dict[UUID, dict[str, int]] = {}
    for one in summed:
        month = PASSED if one["value"] < today.isoformat() else one["value"][:7]
        held = by_scope.setdefault(one["scope"], {})
        held[month] = held.get(month, 0) + one["n"]
    mails = dict(Membership.objects.filter(pk__in=list(by_scope)).values_list("pk", "user__email"))
    found = {mails[scope]: held for scope, held in by_scope.items() if scope in mails}
    whole = by_scope.get(access.firm_id)
    if whole is not None:
        nobody = {
            month: number - sum(held.get(month, 0) for held in found.values())
            for month, number in whole.items()
        }
        found[""] = nobody
    return found


def _rows(access: Any, asked: Asked, today: date) -> tuple[list[dict[str, Any]], str | None]:
    found = standings(access).filter(renewal__isnull=False).order_by("renewal", "ref")
    if asked.month == PASSED:
        found = found.filter(renewal__lt=today)
    else:
        first = max(today, date.fromisoformat(f"{asked.month}-01"))
        found = found.filter(renewal__gte=first, renewal__lte=last_day(asked.month))
    place = _place(asked.after)
    if place is not None:
        found = found.filter(TupleGreaterThan((F("renewal"), F("ref")), place))
    rows = list(found[: PAGE_SIZE + 1])
    shown = rows[:PAGE_SIZE]
    more = len(rows) > PAGE_SIZE
    return [
        {
            "ref": one.ref,
            "name": one.name,
            "advisor": one.advisor_email,
            "day": one.renewal,
            "days": (one.renewal - today).days,
            "balance": None if one.mortgage_cents is None else text_from_cents(one.mortgage_cents),
            "as_of": one.last_closed and month_of(one.last_closed),
            "top": one.top if one.top_code in ("renewal-due", "renewal-passed") else None,
            "code": one.top_code,
        }
        for one in shown
    ], (asked.link(f"{shown[-1].renewal}_{shown[-1].ref}") if more else None)


def _chart(columns: list[str], total: dict[str, int], language: str) -> Chart | None:
    """A bar a month with its number; terms that ended already are outlined."""
    if not any(total.values()):
        return None
    groups: dict[str, list[Bar]] = {}
    for one in columns:
        title = _("Ended, no next term on file") if one == PASSED else one[:4]
        words = str(total[one]) if one == PASSED else f"{short_month(one, language)}  {total[one]}"
        colour = SECOND if one == PASSED else FIRST
        groups.setdefault(title, []).append(Bar(total[one], words, colour, one == PASSED))
    return Chart(
        name="renewals",
        title=_("Households by the month of their renewal"),
        alt=_("Bars: how many households have a mortgage to renew in each month ahead."),
        svg=bars(list(groups.items())),
        headers=(_("Month"), _("Households")),
        rows=tuple(
            (_("Ended") if one == PASSED else short_month(one, language), str(total[one]))
            for one in columns
        ),
    )
