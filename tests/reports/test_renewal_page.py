"""The renewal on a finding's page: three rates, the last day to act, what a cut would cost."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from django.template.loader import render_to_string
from django.utils.translation import override

from ledger.core.drift.thresholds import DEFAULTS
from planning.core.household_file import read_household
from reports.selectors.finding import renewal_shown

FILE = Path(__file__).resolve().parents[1] / "samples" / "plan-only.json"
HOUSEHOLD = read_household(FILE.read_text("utf-8"), FILE.name)
KEY = "mtg:2030-01-01"


@pytest.mark.parametrize(
    ("language", "parts"),
    [
        ("en", ("4.89% (present rate)", "5.89%", "6.89%", "Act by December 11, 2029")),
        ("fr", ("(taux actuel)", "Agissez au plus tard le 11 décembre 2029", "réempruntés")),
    ],
)
def test_the_page_says_the_three_rates_and_the_last_day(language: str, parts: tuple[str, ...]):
    shown = renewal_shown(HOUSEHOLD, "renewal-due", KEY, DEFAULTS)
    with override(language):
        text = render_to_string("reports/desk/_renewal.html", {"renewal": shown})
    text = text.replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ")
    assert [part for part in parts if part not in text] == []


def test_the_last_day_follows_the_firms_threshold():
    week = replace(DEFAULTS, renewal_act_days=7)
    shown = renewal_shown(HOUSEHOLD, "renewal-due", KEY, week)
    assert shown is not None
    assert shown["on"] - shown["act_by"] == timedelta(days=7)


def test_a_term_that_is_over_is_for_today():
    shown = renewal_shown(HOUSEHOLD, "renewal-passed", KEY, DEFAULTS)
    text = render_to_string("reports/desk/_renewal.html", {"renewal": shown})
    assert "Act at once" in text
    assert "at the latest" not in text


def test_other_findings_have_no_renewal():
    assert renewal_shown(HOUSEHOLD, "mixed-line", "line", DEFAULTS) is None
    assert renewal_shown(replace(HOUSEHOLD, plan=None), "renewal-due", KEY, DEFAULTS) is None
