"""The proposal's pictures: debts over time, history by start year, chance.

Colour is never the only signal: debt in deductible use is outlined where the
rest is filled, the ordinary mortgage is a stroke, starts that ended behind hang
below the axis.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from config.formatting import long_month, percent, short_month, signed_money, whole_money
from reports.charts import FIRST, LESS, MORE, SECOND, Chart, Rows
from reports.drawing import INK, MUTED, draw

PERCENTILES = ("p05", "p25", "p50", "p75", "p95")
CHANCE_LEADS = ("lead_over_ordinary", "lead_over_prepayments")


def debts_chart(debts: Rows, language: str, width: int = 640) -> Chart | None:
    """Debts at year ends: the plan's by use as stacked bars, the ordinary mortgage as strokes."""
    if not debts:
        return None
    filled, outlined = _("Plan: not deductible"), _("Plan: deductible use")
    stroke = _("Ordinary mortgage")
    labels = [_label(row["month"]) for row in debts]
    bars = [
        {"at": label, "from": low, "to": high, "kind": kind}
        for label, row in zip(labels, debts, strict=True)
        for kind, low, high in (
            (filled, 0.0, _plot(row["non_deductible"])),
            (outlined, _plot(row["non_deductible"]), _plot(row["total"])),
        )
    ]
    strokes = [
        {"at": label, "to": _plot(row["ordinary"]), "kind": stroke}
        for label, row in zip(labels, debts, strict=True)
    ]
    every = -(-len(labels) // 14)
    x = {
        "field": "at",
        "type": "ordinal",
        "sort": labels,
        "axis": {"title": None, "labelAngle": 0, "values": labels[::every], "ticks": False},
    }
    kinds = [filled, outlined, stroke]
    legend = {
        "title": None,
        "orient": "top",
        "symbolType": "square",
        "symbolSize": 130,
        "symbolStrokeWidth": 1.4,
        "labelLimit": 260,
    }
    colour = {
        "field": "kind",
        "type": "nominal",
        "scale": {"domain": kinds, "range": [FIRST, "#fff", INK]},
        "legend": legend,
    }
    edge = {
        "field": "kind",
        "type": "nominal",
        "scale": {"domain": kinds, "range": [FIRST, SECOND, INK]},
        "legend": legend,
    }
    money_axis = {"format": "$.3~s", "tickCount": 5, "title": None}
    spec = {
        "width": width - 70,
        "height": 200,
        "encoding": {"x": x},
        "layer": [
            {
                "data": {"values": bars},
                "mark": {"type": "bar", "width": {"band": 0.62}, "strokeWidth": 1.1},
                "encoding": {
                    "y": {"field": "from", "type": "quantitative", "axis": money_axis},
                    "y2": {"field": "to"},
                    "fill": colour,
                    "stroke": edge,
                },
            },
            {
                "data": {"values": strokes},
                "mark": {"type": "bar", "height": 2.4, "width": {"band": 0.92}},
                "encoding": {
                    "y": {"field": "to", "type": "quantitative"},
                    "y2": {"field": "to"},
                    "fill": colour,
                    "stroke": edge,
                },
            },
        ],
    }
    last = debts[-1]
    alt = _(
        "Stacked bars by year. At the end of %(month)s the plan owes %(plain)s whose interest is "
        "not deductible and %(used)s in deductible use; the ordinary mortgage owes %(ordinary)s."
    ) % {
        "month": long_month(last["month"], language),
        "plain": whole_money(last["non_deductible"], language),
        "used": whole_money(last["deductible_use"], language),
        "ordinary": whole_money(last["ordinary"], language),
    }
    return Chart("debts", _("Debts at year ends"), alt, draw(spec, language, width), (), ())


def history_chart(history: Mapping[str, Any], language: str, width: int = 640) -> Chart | None:
    """The plan's lead over the prepayments by the month in which it would have begun."""
    starts = history.get("starts") or []
    if not starts:
        return None
    values = [
        {
            "at": f"{one['start']}-01",
            "lead": _plot(one["lead_over_prepayments"]),
            "colour": LESS if one["ended_behind"] else MORE,
        }
        for one in starts
    ]
    spec = {
        "width": width - 70,
        "height": 190,
        "data": {"values": values},
        "layer": [
            {
                "mark": {"type": "bar", "width": max(2.0, 0.6 * (width - 70) / len(values))},
                "encoding": {
                    "x": {
                        "field": "at",
                        "type": "temporal",
                        "scale": {"type": "utc"},
                        "axis": {"format": "%Y", "title": None, "tickCount": 8},
                    },
                    "y": {
                        "field": "lead",
                        "type": "quantitative",
                        "axis": {"format": "$.3~s", "tickCount": 5, "title": None},
                    },
                    "color": {"field": "colour", "type": "nominal", "scale": None},
                },
            },
            {"mark": {"type": "rule", "color": INK, "strokeWidth": 1}, "encoding": _AT_ZERO},
        ],
    }
    summary = history["summary"]
    worst = summary["worst"]
    alt = _(
        "Bar chart by year of start, %(first)s to %(last)s. %(share)s of the starts end behind "
        "the prepayments and hang below the line; the worst, of %(worst)s, ends %(lead)s."
    ) % {
        "first": short_month(summary["first_start"], language),
        "last": short_month(summary["last_start"], language),
        "share": percent(summary["behind_prepayments"], language, 1),
        "worst": short_month(worst["start"], language),
        "lead": signed_money(worst["lead_over_prepayments"], language),
    }
    title = _("Lead over the same cash in prepayments, by year of start; below the line is behind")
    return Chart("history", title, alt, draw(spec, language, width), (), ())


_AT_ZERO = {"y": {"datum": 0}}


def chance_chart(chance: Mapping[str, Any], language: str, width: int = 640) -> Chart | None:
    """How far the drawn paths lie apart: nine in ten a line, half a bar, the middle a tick."""
    if not chance:
        return None
    names = {
        "lead_over_ordinary": _("Lead over the ordinary mortgage"),
        "lead_over_prepayments": _("Lead over the prepayments"),
    }
    values = [
        {"label": names[name]} | {key: _plot(chance[name][key]) for key in PERCENTILES}
        for name in CHANCE_LEADS
    ]
    y = {
        "field": "label",
        "type": "nominal",
        "sort": list(names.values()),
        "axis": {"title": None, "labelLimit": 320, "ticks": False, "domain": False},
    }
    axis = {"format": "$.3~s", "tickCount": 6, "title": None}

    def across(first: str, last: str, mark: dict[str, Any]) -> dict[str, Any]:
        x = {"field": first, "type": "quantitative", "axis": axis}
        return {"mark": mark, "encoding": {"y": y, "x": x, "x2": {"field": last}}}

    spec = {
        "width": width - 300,
        "height": {"step": 34},
        "data": {"values": values},
        "layer": [
            {
                "mark": {"type": "rule", "color": MUTED, "strokeDash": [3, 3]},
                "encoding": {"x": {"datum": 0}},
            },
            across("p05", "p95", {"type": "rule", "color": FIRST, "strokeWidth": 2}),
            across("p25", "p75", {"type": "bar", "color": FIRST, "height": {"band": 0.45}}),
            {
                "mark": {"type": "tick", "color": INK, "thickness": 3, "height": {"band": 0.75}},
                "encoding": {"y": y, "x": {"field": "p50", "type": "quantitative"}},
            },
        ],
    }
    alt = _(
        "Range chart. Over the ordinary mortgage nine paths in ten end between %(low)s and "
        "%(high)s, the middle one at %(middle)s."
    ) % {
        "low": signed_money(chance["lead_over_ordinary"]["p05"], language),
        "high": signed_money(chance["lead_over_ordinary"]["p95"], language),
        "middle": signed_money(chance["lead_over_ordinary"]["p50"], language),
    }
    title = _(
        "Drawn paths: the thin line holds nine in ten, the bar half, the stroke is the middle"
    )
    return Chart("chance", title, alt, draw(spec, language, width), (), ())


def _label(month: str) -> str:
    """The year, with the month's number when the plan ends inside a year."""
    return month[:4] if month.endswith("-12") else month


def _plot(amount: str) -> float:
    """A position on paper; the figures in tables never pass through here."""
    return float(Decimal(amount))
