"""The annual packet's page: cells put in words, pages referred to, in the language in force."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from reports.annual_files import shown
from reports.packets.words import CAUTIONS, SHORT_CAUTION

FLOWING = (7, 8, 9, 10, 11, 12, 13, 15)
"""Schedules that are mostly short and need no page of their own."""


def annual_html(data: Mapping[str, Any], template_version: str) -> str:
    """The annual packet's HTML."""
    language = str(data["language"])
    context = {
        "data": data,
        "title": _("Annual packet for the accountant, %(year)s: %(name)s")
        % {"year": data["year"], "name": data["household"]["name"]},
        "schedules": [_schedule(one, language) for one in data["schedules"]],
        "cautions": [_(one) for one in CAUTIONS],
        "short_caution": _(SHORT_CAUTION),
        "created": f"{data['as_of']}T12:00:00Z",
        "template_version": template_version,
    }
    return render_to_string("reports/packets/annual.html", context)


def _schedule(one: Mapping[str, Any], language: str) -> dict[str, Any]:
    tables = [_table(table, language) for table in one["tables"]]
    return {**one, "tables": tables, "flows": one["number"] in FLOWING}


def _table(table: Mapping[str, Any], language: str) -> dict[str, Any]:
    columns = table["columns"]
    rows = [
        [_cell(column, value, language) for column, value in zip(columns, row, strict=True)]
        for row in table["rows"]
    ]
    totals = table["totals"]
    sums = [
        shown("money", totals[one["key"]], language) if one["key"] in totals else ""
        for one in columns
    ]
    heads = [
        {"title": _(one["title"]), "amount": one["type"] in ("money", "rate")} for one in columns
    ]
    return {
        "title": _(table["title"]),
        "heads": heads,
        "rows": rows,
        "sums": sums[1:] if totals else [],
        "wide": len(columns) > 8,
    }


def _cell(column: Mapping[str, Any], value: Any, language: str) -> dict[str, Any]:
    amount = column["type"] in ("money", "rate")
    words = shown(column["type"], value, language)
    red = column["key"] == "unlinked" and value not in ("", "0.00")
    day = column["type"] in ("date", "month")
    return {"text": words, "amount": amount, "red": red, "day": day}
