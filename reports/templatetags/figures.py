"""Template filters: figures and words of the trade in the page's language."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from functools import partial
from typing import Any

from django import template
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from config import formatting
from ledger.core.drift.settings import thresholds_from
from ledger.core.drift.thresholds import Thresholds
from reports.charts import Chart, themed
from reports.packets.finding_words import LIMITS, finding_words
from reports.packets.words import (
    CAUSE_WORDS,
    CLASS_WORDS,
    ENTRY_WORDS,
    EVENT_WORDS,
    HOLD_WORDS,
    INSTRUCTION_WORDS,
    RECORD_WORDS,
    SEVERITY_WORDS,
    STATE_WORDS,
    USE_WORDS,
    WAY_WORDS,
)

register = template.Library()
NOTHING = "–"


def _language() -> str:
    return get_language() or "en"


@register.filter
def money(amount: str | None) -> str:
    """Dollars and cents; a dash for nothing."""
    return NOTHING if amount in (None, "") else formatting.money(str(amount), _language())


@register.filter
def whole_money(amount: str | None) -> str:
    """Whole dollars; a dash for nothing."""
    return NOTHING if amount in (None, "") else formatting.whole_money(str(amount), _language())


@register.filter
def signed_money(amount: str | None) -> str:
    """Dollars and cents with their sign; a dash for nothing."""
    return NOTHING if amount in (None, "") else formatting.signed_money(str(amount), _language())


@register.filter
def percent(fraction: str | None) -> str:
    """A decimal fraction as a percentage of two places; a dash for nothing."""
    return NOTHING if fraction in (None, "") else formatting.percent(str(fraction), _language())


@register.filter
def long_day(day: Any) -> str:
    """A date in words; a dash for none."""
    return formatting.long_day(day, _language()) if day else NOTHING


@register.filter
def short_day(day: Any) -> str:
    """A date for tables; a dash for none."""
    return formatting.short_day(day, _language()) if day else NOTHING


@register.filter
def long_month(month: str | None) -> str:
    """A month in words; a dash for none."""
    return formatting.long_month(month, _language()) if month else NOTHING


@register.filter
def short_month(month: str | None) -> str:
    """A month for tables; a dash for none."""
    return formatting.short_month(month, _language()) if month else NOTHING


@register.filter
def quarter_name(period: dict[str, Any]) -> str:
    """Q3 2026 or T3 2026, from a snapshot's period."""
    return formatting.quarter(period["year"], period["quarter"], _language())


@register.filter
def finding_title(code: str) -> str:
    """What a drift code is called."""
    return _(finding_words(code).title)


@register.simple_tag(takes_context=True)
def finding_why(context: Mapping[str, Any], code: str) -> str:
    """Why a drift code matters, with the threshold of the firm where the words name one.

    The page or the packet says what differs from the defaults as `thresholds`.
    """
    words = _(finding_words(code).why)
    if code not in LIMITS:
        return words
    shown = context.get("page") or context.get("data") or {}
    return words.format(limit=_limit(LIMITS[code], thresholds_from(shown.get("thresholds") or {})))


def _limit(name: str, thresholds: Thresholds) -> str:
    """A threshold inside a sentence: whole numbers bare, rates in points, shares in percent."""
    value = getattr(thresholds, name)
    if isinstance(value, int):
        return str(value)
    if name == "rate_off_plan":
        return formatting.number(f"{value * 100:f}", _language(), 2)
    return formatting.percent(f"{value:f}", _language(), 2)


@register.filter
def remedy_steps(finding: dict[str, Any]) -> list[str]:
    """A finding's remedy in the page's language: its sentences with their figures put in."""
    return [_said(step["template"], step["values"]) for step in finding.get("remedy") or ()]


def _said(template: str, values: dict[str, Any]) -> str:
    if not template:
        return ""
    if not values:
        return _(template)
    return _(template).format(**{name: _shown(value) for name, value in values.items()})


def _shown(value: Any) -> str:
    """A value inside a sentence: whole numbers are cents, the rest goes by its shape."""
    if isinstance(value, int):
        return formatting.cents(value, _language())
    return _in_words(str(value))


_MONEY = re.compile(r"-?[0-9]+\.[0-9]{2}\Z")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}\Z")
_PERCENT = re.compile(r"-?[0-9]+\.[0-9]+%\Z")
_MONTH = re.compile(r"[0-9]{4}-[0-9]{2}\Z")


def _in_words(text: str) -> str:
    if _MONEY.match(text):
        return formatting.money(text, _language())
    if _DAY.match(text):
        return formatting.short_day(text, _language())
    if _PERCENT.match(text):
        return formatting.percent(str(Decimal(text[:-1]) / 100), _language())
    if _MONTH.match(text):
        return formatting.short_month(text, _language())
    return text


@register.filter
def key_words(key: str) -> str:
    """A finding's key for people: its parts apart, dates and months in words."""
    return ", ".join(_in_words(part) for part in str(key).split(":"))


@register.filter
def severity_word(severity: str) -> str:
    """Act, Fix, Paper, Note."""
    return _(SEVERITY_WORDS[severity][0])


@register.filter
def severity_meaning(severity: str) -> str:
    """What a severity says."""
    return _(SEVERITY_WORDS[severity][1])


def _from(words: dict[str, str], key: str) -> str:
    """The key's words in the page's language; the key itself when it has none."""
    return _(words[key]) if key in words else str(key)


# name|class_word and its like: a word of the data in the page's language.
for _name, _words in (
    ("class_word", CLASS_WORDS),
    ("cause_word", CAUSE_WORDS),
    ("use_word", USE_WORDS),
    ("entry_word", ENTRY_WORDS),
    ("instruction_word", INSTRUCTION_WORDS),
    ("record_word", RECORD_WORDS),
    ("hold_word", HOLD_WORDS),
    ("state_word", STATE_WORDS),
    ("event_word", EVENT_WORDS),
    ("way_word", WAY_WORDS),
):
    register.filter(_name, partial(_from, _words))


@register.filter
def translated(message: str) -> str:
    """A string already marked for the catalogue, in the page's language."""
    return _(message)


@register.filter
def drawing(chart: Chart) -> SafeString:
    """A chart's SVG for the page. Safe: our own drawing of figures and catalogue words,
    written as XML by the drawing library."""
    return mark_safe(themed(chart.svg, chart.alt))  # noqa: S308 - see above
