"""The picture of a cure: twelve months' deductible interest with and without it."""

from __future__ import annotations

from django.utils.translation import gettext as _

from config.formatting import cents, long_month, short_month
from planning.core.money import text_from_cents
from reports.charts import FIRST, Chart, month_axis, plot
from reports.drawing import MUTED, draw

Months = tuple[tuple[str, int], ...]


def cure_chart(without: Months, with_cure: Months, language: str, width: int) -> Chart:
    """Two lines by month: dashed is left as it is, solid is the cure carried out."""
    names = {"without": _("Left as it is"), "with": _("With the cure")}
    sides = [names["without"], names["with"]]
    values = [
        {"month": f"{month}-01", "side": name, "value": plot(text_from_cents(amount))}
        for name, months in zip(sides, (without, with_cure), strict=True)
        for month, amount in months
    ]
    layers = [
        {
            "transform": [{"filter": {"field": "side", "equal": name}}],
            "mark": {"type": "line", "color": colour, "strokeWidth": 2.2,
                     "point": {"filled": True, "size": 22, "color": colour}},
        }
        for name, colour in zip(sides, (MUTED, FIRST), strict=True)
    ]  # fmt: skip
    spec = {
        "width": width - 70,
        "height": 170,
        "data": {"values": values},
        "encoding": {
            "x": month_axis(len(without)),
            "y": {
                "field": "value",
                "type": "quantitative",
                "scale": {"zero": True, "nice": True},
                "axis": {"format": "$.3~s", "tickCount": 4, "title": None},
            },
            "strokeDash": {
                "field": "side",
                "type": "nominal",
                "scale": {"domain": sides, "range": [[5, 4], [1, 0]]},
                "legend": {
                    "title": None,
                    "orient": "top",
                    "symbolSize": 260,
                    "symbolType": "stroke",
                    "symbolStrokeWidth": 2,
                },
            },
        },
        "layer": layers,
    }
    alt = _(
        "Two lines by month from %(first)s to %(last)s. Left as it is, deductible interest comes "
        "to %(without)s over the twelve months; with the cure to %(with)s."
    ) % {
        "first": long_month(without[0][0], language),
        "last": long_month(without[-1][0], language),
        "without": cents(sum(amount for _month, amount in without), language),
        "with": cents(sum(amount for _month, amount in with_cure), language),
    }
    return Chart(
        "cure",
        _("Deductible interest by month: dashed is left as it is, solid is with the cure"),
        alt,
        draw(spec, language, width),
        (_("Month"), names["without"], names["with"]),
        tuple(
            (short_month(month, language), cents(left, language), cents(cured, language))
            for (month, left), (_month, cured) in zip(without, with_cure, strict=True)
        ),
    )
