"""The drawing library behind the charts: one palette, two languages, no letters of the machine.

It must not be loaded before a process forks (its children would hang), so it is
imported on first use only.
"""

from __future__ import annotations

import functools
import json
import re
from collections.abc import Mapping
from typing import Any

from config.formatting import EN_MONTHS, EN_SHORT, FR_MONTHS, FR_SHORT, is_french

INK, MUTED, GRID = "#22313a", "#5b6a72", "#dbe2e5"
WIDE = 600


def _locales(language: str) -> tuple[dict[str, Any], dict[str, Any]]:
    french = is_french(language)
    numbers = {
        "decimal": "," if french else ".",
        "thousands": "\u00a0" if french else ",",
        "grouping": [3],
        "currency": ["", "\u00a0$"] if french else ["$", ""],
    }
    days = ["1", "2", "3", "4", "5", "6", "7"]
    times = {
        "dateTime": "%x %X",
        "date": "%Y-%m-%d",
        "time": "%H:%M:%S",
        "periods": ["AM", "PM"],
        "days": days,
        "shortDays": days,
        "months": list(FR_MONTHS if french else EN_MONTHS),
        "shortMonths": list(FR_SHORT if french else EN_SHORT),
    }
    return numbers, times


_CONFIG: dict[str, Any] = {
    "background": None,
    # Helvetica is measured with the library's own metrics, never the machine's fonts.
    "font": "Helvetica",
    "view": {"stroke": None},
    "title": {"color": INK, "fontSize": 12, "fontWeight": 600, "offset": 6},
    "axis": {
        "labelColor": MUTED,
        "gridColor": GRID,
        "domainColor": GRID,
        "tickColor": GRID,
    },
    "axisX": {"grid": False},
    "legend": {"labelColor": INK, "symbolStrokeColor": INK, "offset": 4},
}
_NOISE = re.compile(r' (?:role|class|pointer-events|aria-[a-z]+)="[^"]*"')
_SIZE = re.compile(r'(<svg[^>]*?) width="[0-9.]+" height="[0-9.]+"')


def draw(spec: Mapping[str, Any], language: str, width: int) -> str:
    """Draw a specification; narrow drawings, shrunk on a telephone, carry larger letters."""
    schema = "https://vega.github.io/schema/vega-lite/v6.json"
    letters = {"labelFontSize": 11 if width >= WIDE else 12.5}
    config = _CONFIG | {
        "axis": _CONFIG["axis"] | letters,
        "legend": _CONFIG["legend"] | letters,
        "text": {"fontSize": letters["labelFontSize"]},
    }
    whole = {"$schema": schema, "config": config, **spec}
    return _svg(json.dumps(whole, sort_keys=True), language)


@functools.lru_cache(maxsize=512)
def _svg(spec: str, language: str) -> str:
    import vl_convert

    numbers, times = _locales(language)
    svg = str(
        vl_convert.vegalite_to_svg(
            json.loads(spec),
            format_locale=numbers,
            time_format_locale=times,
            allowed_base_urls=[],
        )
    )
    svg = _NOISE.sub("", svg).replace('font-family="Helvetica"', 'font-family="IBM Plex Sans"')
    return _SIZE.sub(r"\1", svg, count=1)
