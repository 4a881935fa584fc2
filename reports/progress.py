"""A household's way so far: its debt by use with the plan beside it, and what happened when.

Drawn as plain SVG; the figures are those of the closes, nothing is computed anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.utils.translation import gettext as _

from config.formatting import cents, long_month, short_month
from planning.core.months import month_of
from reports.charts import FIRST, MUTED, SECOND, Chart
from reports.packets.values import Json, cents_in, month_rows, plan_rows
from reports.plain_drawing import Curve, panels

MONTHS_TOLD = 12


def _debts(row: Json) -> tuple[int, int]:
    """Debt outside and inside eligible use, in cents."""
    inside = cents_in(row, "eligible")
    return cents_in(row, "mortgage_closing") + cents_in(row, "line_closing") - inside, inside


def progress_chart(report: Json, language: str) -> Chart | None:
    """Debt outside and inside eligible use at month ends; None before the second close.

    Dashed is the plan, where every month shown has a planned row.
    """
    closed, planned = month_rows(report), plan_rows(report)
    months = sorted(closed)
    if len(months) < 2:
        return None
    actual = [_debts(closed[month]["actual"]) for month in months]
    whole = all(month in planned and "eligible" in planned[month] for month in months)
    plan = [_debts(planned[month]) for month in months] if whole else []
    titles = (_("Debt not in eligible use"), _("Debt in eligible use"))
    parts = []
    for at, (title, colour) in enumerate(zip(titles, (SECOND, FIRST), strict=True)):
        curves = [Curve([one[at] for one in actual], colour)]
        if whole:
            curves.insert(0, Curve([one[at] for one in plan], MUTED, dashed=True))
        parts.append((title, curves))
    alt = _(
        "Two line charts by month. At the end of %(month)s %(outside)s of the debt was not in "
        "eligible use and %(inside)s was."
    ) % {
        "month": long_month(months[-1], language),
        "outside": cents(actual[-1][0], language),
        "inside": cents(actual[-1][1], language),
    }
    headers = [_("Month")]
    for title in titles:
        headers += [title, _("Plan")] if whole else [title]
    rows = []
    for at in range(len(months))[-24:]:
        cells = [short_month(months[at], language)]
        for which in (0, 1):
            cells.append(cents(actual[at][which], language))
            if whole:
                cells.append(cents(plan[at][which], language))
        rows.append(tuple(cells))
    title = _("Debt by use at month ends: solid is actual, dashed is plan")
    return Chart(
        "progress",
        title if whole else _("Debt by use at month ends"),
        alt,
        panels(parts, months, language),
        tuple(headers),
        tuple(rows),
    )


def timeline(page: dict[str, Any], packets: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """What happened by month, the latest first: closes, draws, findings, documents; renewals ahead.

    `page` is the household's page; at most twelve past months are told.
    """
    months: dict[str, dict[str, list[Any]]] = {}

    def put(month: str, kind: str, what: Any) -> None:
        months.setdefault(month, {}).setdefault(kind, []).append(what)

    for row in page["months"]:
        put(row["month"], "closed", row)
    for row in page["uses"]:
        put(str(row["date"])[:7], "draws", row)
    for one in page["findings"]:
        put(one["first"], "opened", one)
    for one in page["settled"]:
        put(one["last"], "settled", one)
    for one in packets:
        if one["stored"]:
            put(month_of(one["as_of"]), "packets", one)
    for row in page["renewals"]:
        matures = row["matures"]
        put(month_of(matures) if isinstance(matures, date) else str(matures)[:7], "renewals", row)
    last = page["through"] or ""
    coming = sorted((one for one in months if one > last), reverse=True)
    past = sorted((one for one in months if one <= last), reverse=True)[:MONTHS_TOLD]
    return [{"month": one, "ahead": one > last, **months[one]} for one in (*coming, *past)]
