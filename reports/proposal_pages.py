"""The plan proposal's page: its charts, words and HTML, in the language in force."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from config import formatting
from reports.charts import Chart
from reports.charts_proposal import chance_chart, debts_chart, history_chart
from reports.packets import proposal_words as words
from reports.packets.words import CAUTIONS, SHORT_CAUTION


def proposal_charts(data: Mapping[str, Any]) -> list[Chart]:
    """The proposal's charts; those without data are left out."""
    language = str(data["language"])
    found = (
        debts_chart(data["debts"], language),
        history_chart(data["history"], language),
        chance_chart(data["chance"], language),
    )
    return [one for one in found if one is not None]


def proposal_html(data: Mapping[str, Any], drawn: list[Chart], template_version: str) -> str:
    """The proposal's HTML; charts are referred to by name."""
    context = {
        "data": data,
        "title": _("Plan proposal, version %(number)s: %(name)s")
        % {"number": data["plan"]["number"], "name": data["household"]["name"]},
        "charts": {one.name: one for one in drawn},
        "cautions": [_(one) for one in CAUTIONS],
        "short_caution": _(SHORT_CAUTION),
        "created": f"{data['as_of']}T12:00:00Z",
        "template_version": template_version,
        "use_and_records": _(words.USE_AND_RECORDS),
        "law_bearer": _(words.BEARER_WORDS["law"]),
        "monthly_steps": [_(one) for one in words.MONTHLY_STEPS],
        "records_to_keep": [_(one) for one in words.RECORDS_TO_KEEP],
        "questions": [_(one) for one in words.QUESTIONS],
        "history_rests_on": [_(one) for one in words.HISTORY_RESTS_ON],
        "history_cautions": [_(one) for one in words.HISTORY_CAUTIONS],
        "chance_rests_on": [_(one) for one in words.CHANCE_RESTS_ON],
        "chance_cautions": [_(one) for one in words.CHANCE_CAUTIONS],
        "series": _series(data),
    }
    return render_to_string("reports/packets/proposal.html", context)


def _series(data: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """The series history rests on: name, vector, and what of it is derived or assumed."""
    if not data["history"]:
        return []
    language = str(data["language"])
    values = {
        "yield": formatting.percent(data["history"]["assumed_yield"], language),
        "over": formatting.percent(data["history"]["prime_over_bank_rate"], language),
    }
    return [(_(name), vector, _(said) % values) for name, vector, said in words.SERIES]
