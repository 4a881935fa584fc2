"""Charts as SVG from plain rows, each with its table and its words.

One drawing serves paper and screen: the palette below is the printed one, and
for the desk each colour becomes a CSS custom property, so light, dark and
print follow the page. Colour is never the only signal: plan is dashed or a
tick, actual is solid or a bar, and every bar of a waterfall carries its amount.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.utils.html import escape
from django.utils.translation import gettext as _

from config.formatting import long_month, money, short_month, signed_money
from reports.drawing import GRID, INK, MUTED, WIDE, draw
from reports.packets.words import CAUSE_WORDS

FIRST, SECOND, MORE, LESS = "#1c5d86", "#b1521c", "#1e7a5a", "#a53f2d"
CSS_NAMES = {
    INK: "--chart-ink",
    MUTED: "--chart-muted",
    GRID: "--chart-grid",
    FIRST: "--chart-first",
    SECOND: "--chart-second",
    MORE: "--chart-more",
    LESS: "--chart-less",
}
MONTHS_SHOWN = 24
Rows = Sequence[Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class Chart:
    """A drawing with what it says in words, and the table behind it."""

    name: str
    title: str
    alt: str
    svg: str
    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def themed(svg: str, alt: str) -> str:
    """The SVG for a page: colours as custom properties, named for screen readers."""
    for colour, name in CSS_NAMES.items():
        svg = svg.replace(f'"{colour}"', f'"var({name})"')
    return svg.replace("<svg ", f'<svg role="img" aria-label="{escape(alt)}" ', 1)


def balances_chart(series: Rows, language: str, width: int = 640) -> Chart | None:
    """Mortgage and line owed at month ends, plan against actual; None without months."""
    rows = [row for row in series if row["mortgage_closing_actual"] is not None]
    if not rows:
        return None
    names = {"plan": _("Plan"), "actual": _("Actual")}
    panels = [
        _panel(rows, "mortgage_closing", _("Mortgage owed"), FIRST, names, width),
        _panel(rows, "line_closing", _("Line owed"), SECOND, names, width),
    ]
    last = rows[-1]
    values = {
        "month": long_month(last["month"], language),
        "mortgage": money(last["mortgage_closing_actual"], language),
        "line": money(last["line_closing_actual"], language),
    }
    alt = _(
        "Two line charts by month. At the end of %(month)s the mortgage stood at "
        "%(mortgage)s and the line at %(line)s."
    )
    if last["mortgage_closing_plan"] is not None:
        values |= {
            "mortgage_plan": money(last["mortgage_closing_plan"], language),
            "line_plan": money(last["line_closing_plan"], language),
        }
        alt += " " + _("The plan had %(mortgage_plan)s and %(line_plan)s.")
    keys = (
        "mortgage_closing_plan",
        "mortgage_closing_actual",
        "line_closing_plan",
        "line_closing_actual",
    )
    return Chart(
        "balances",
        _("Mortgage and line at month ends: solid is actual, dashed is plan"),
        alt % values,
        draw({"vconcat": panels, "spacing": 18}, language, width),
        (
            _("Month"),
            _("Mortgage, plan"),
            _("Mortgage, actual"),
            _("Line, plan"),
            _("Line, actual"),
        ),
        tuple(
            (short_month(row["month"], language), *(_money(row[key], language) for key in keys))
            for row in rows[-MONTHS_SHOWN:]
        ),
    )


def _panel(
    rows: Rows, key: str, title: str, colour: str, names: Mapping[str, str], width: int
) -> dict[str, Any]:
    values = [
        {"month": f"{row['month']}-01", "side": names[side], "value": plot(row[f"{key}_{side}"])}
        for row in rows
        for side in ("plan", "actual")
        if row[f"{key}_{side}"] is not None
    ]
    sides = [names["plan"], names["actual"]]
    point = {"filled": True, "size": 22, "color": colour} if len(rows) <= MONTHS_SHOWN else False
    encoding: dict[str, Any] = {
        "x": month_axis(len(rows)),
        "y": {
            "field": "value",
            "type": "quantitative",
            "scale": {"zero": False, "nice": True},
            "axis": {"format": "$.4~s", "tickCount": 4, "title": None},
        },
        "strokeDash": {
            "field": "side",
            "type": "nominal",
            "scale": {"domain": sides, "range": [[5, 4], [1, 0]]},
            "legend": {"title": None, "orient": "top", "symbolSize": 260, "symbolStrokeWidth": 2},
        },
    }
    layers = [
        {
            "transform": [{"filter": {"field": "side", "equal": sides[0]}}],
            "mark": {"type": "line", "color": MUTED, "strokeWidth": 1.6},
        },
        {
            "transform": [{"filter": {"field": "side", "equal": sides[1]}}],
            "mark": {"type": "line", "color": colour, "strokeWidth": 2.2, "point": point},
        },
    ]
    return {
        "title": {"text": title, "anchor": "start"},
        "width": width - 70,
        "height": 130,
        "data": {"values": values},
        "encoding": encoding,
        "layer": layers,
    }


def deductible_chart(series: Rows, language: str, width: int = 640) -> Chart | None:
    """Deductible interest of each month: bars for actual, ticks for plan."""
    rows = [row for row in series if row["deductible_actual"] is not None][-MONTHS_SHOWN:]
    if not rows:
        return None
    plan, actual = _("Plan"), _("Actual")
    values = [
        {"month": f"{row['month']}-01", "side": side, "value": plot(row[key])}
        for row in rows
        for side, key in ((plan, "deductible_plan"), (actual, "deductible_actual"))
        if row[key] is not None
    ]
    spec = {
        "width": width - 70,
        "height": 150 if width >= WIDE else 210,
        "data": {"values": values},
        "encoding": {
            "x": month_axis(len(rows)) | {"timeUnit": "utcyearmonth"},
            "y": {
                "field": "value",
                "type": "quantitative",
                "axis": {"format": "$.3~s", "tickCount": 4, "title": None},
            },
        },
        "layer": [
            {
                "transform": [{"filter": {"field": "side", "equal": actual}}],
                "mark": {"type": "bar", "color": FIRST, "width": {"band": 0.62}},
            },
            {
                "transform": [{"filter": {"field": "side", "equal": plan}}],
                "mark": {"type": "tick", "color": INK, "thickness": 2.4, "width": {"band": 0.9}},
            },
        ],
    }
    last = rows[-1]
    alt = _("Bar chart. In %(month)s deductible interest came to %(actual)s.") % {
        "month": long_month(last["month"], language),
        "actual": money(last["deductible_actual"], language),
    }
    if last["deductible_plan"] is not None:
        alt += " " + _("The plan had %(plan)s.") % {
            "plan": money(last["deductible_plan"], language)
        }
    return Chart(
        "deductible",
        _("Deductible interest by month: bars are actual, strokes are plan"),
        alt,
        draw(spec, language, width),
        (_("Month"), _("Plan"), _("Actual")),
        tuple(
            (
                short_month(row["month"], language),
                _money(row["deductible_plan"], language),
                _money(row["deductible_actual"], language),
            )
            for row in rows
        ),
    )


def causes_chart(
    plan: str | None, actual: str, causes: Mapping[str, str], language: str, width: int = 640
) -> Chart | None:
    """From planned to actual deductible interest, cause by cause; None without a gap to explain.

    A waterfall: plan and actual are ticks, each cause a bar from where the one
    before it ended. Causes of 0.00 are left out of the drawing and the table.
    """
    shown = [(name, causes[name]) for name in CAUSE_WORDS if causes.get(name, "0.00") != "0.00"]
    if plan is None or not shown:
        return None
    at = Decimal(plan)
    bars: list[dict[str, Any]] = []
    marks = [{"label": _("Plan"), "at": float(at), "text": money(plan, language)}]
    for name, amount in shown:
        start, at = at, at + Decimal(amount)
        bars.append(
            {
                "label": _(CAUSE_WORDS[name]),
                "from": float(start),
                "to": float(at),
                "edge": float(max(start, at)),
                "text": signed_money(amount, language),
                "colour": LESS if amount.startswith("-") else MORE,
            }
        )
    marks.append(
        {"label": _("Actual"), "at": float(Decimal(actual)), "text": money(actual, language)}
    )
    order = [marks[0]["label"], *(bar["label"] for bar in bars), marks[1]["label"]]
    ends = [value for bar in bars for value in (bar["from"], bar["to"])]
    spread = (max(ends) - min(ends)) or 1.0
    y = {
        "field": "label",
        "type": "nominal",
        "sort": order,
        "axis": {"title": None, "labelLimit": 230, "ticks": False, "domain": False},
    }
    x_scale = {
        "domain": [min(ends) - 0.06 * spread, max(ends) + 0.30 * spread],
        "nice": False,
        "zero": False,
    }
    x_axis = {"format": "$.4~s", "tickCount": 4, "title": None}
    label = {"type": "text", "align": "left", "dx": 6, "color": INK}
    spec = {
        "width": width - (250 if width >= WIDE else 200),
        "height": {"step": 25},
        "layer": [
            {
                "data": {"values": bars},
                "mark": {"type": "bar", "height": {"band": 0.62}},
                "encoding": {
                    "y": y,
                    "x": {
                        "field": "from",
                        "type": "quantitative",
                        "scale": x_scale,
                        "axis": x_axis,
                    },
                    "x2": {"field": "to"},
                    "color": {"field": "colour", "type": "nominal", "scale": None},
                },
            },
            {
                "data": {"values": bars},
                "mark": label,
                "encoding": {
                    "y": y,
                    "x": {"field": "edge", "type": "quantitative"},
                    "text": {"field": "text"},
                },
            },
            {
                "data": {"values": marks},
                "mark": {"type": "tick", "color": INK, "thickness": 3, "height": {"band": 0.8}},
                "encoding": {"y": y, "x": {"field": "at", "type": "quantitative"}},
            },
            {
                "data": {"values": marks},
                "mark": label | {"fontWeight": 600},
                "encoding": {
                    "y": y,
                    "x": {"field": "at", "type": "quantitative"},
                    "text": {"field": "text"},
                },
            },
        ],
    }
    alt = _("Waterfall chart from %(plan)s planned to %(actual)s actual: %(causes)s.") % {
        "plan": money(plan, language),
        "actual": money(actual, language),
        "causes": ", ".join(f"{bar['label']} {bar['text']}" for bar in bars),
    }
    table = [
        (_("Plan"), money(plan, language)),
        *((_(CAUSE_WORDS[name]), signed_money(amount, language)) for name, amount in shown),
        (_("Actual"), money(actual, language)),
    ]
    return Chart(
        "causes",
        _("Why deductible interest differs from plan"),
        alt,
        draw(spec, language, width),
        (_("Cause"), _("Amount")),
        tuple(table),
    )


def _money(amount: str | None, language: str) -> str:
    return "–" if amount is None else money(amount, language)


def plot(amount: str) -> float:
    """A position on paper; the figures in tables never pass through here."""
    return float(Decimal(amount))


def month_axis(count: int) -> dict[str, Any]:
    """An axis of so many months."""
    return {
        "field": "month",
        "type": "temporal",
        "scale": {"type": "utc"},
        "axis": {
            "format": "%b %Y",
            "title": None,
            "tickCount": min(count, 6),
            "labelOverlap": True,
            "labelFlush": False,
        },
    }
