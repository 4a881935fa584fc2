"""Template filters of the plan proposal: its codes and leads in the page's language."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import template
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from config import formatting
from reports.packets.proposal_words import (
    ASSUMED_WORDS,
    BEARER_WORDS,
    CASE_WORDS,
    FIGURE_WORDS,
    RENEWAL_WORDS,
    VALUE_WORDS,
)

register = template.Library()


def _language() -> str:
    return get_language() or "en"


@register.filter
def lead(amount: str) -> str:
    """A lead in words: "$1,204.37 behind", "$12.00 ahead", or "level"."""
    if amount.startswith("-"):
        return _("%(amount)s behind") % {"amount": formatting.money(amount[1:], _language())}
    if amount == "0.00":
        return _("level")
    return _("%(amount)s ahead") % {"amount": formatting.money(amount, _language())}


@register.filter
def owed(amount: str) -> str:
    """An amount owed or owned in whole dollars, its sign kept."""
    return formatting.whole_money(amount, _language())


@register.filter
def gap(amount: str) -> str:
    """A difference in whole dollars with its sign."""
    text = formatting.whole_money(amount, _language())
    return text if amount.startswith("-") or amount == "0.00" else f"+{text}"


@register.filter
def short_percent(fraction: str | None) -> str:
    """A decimal fraction as a percentage of one place."""
    return "–" if fraction is None else formatting.percent(str(fraction), _language(), 1)


@register.filter
def trim_percent(fraction: str) -> str:
    """A decimal fraction as a percentage, without decimals when it is whole."""
    whole = Decimal(fraction) * 100 == int(Decimal(fraction) * 100)
    return formatting.percent(fraction, _language(), 0 if whole else 2)


@register.filter
def grouped(number: str) -> str:
    """A whole number, its thousands grouped."""
    return formatting.number(number, _language())


@register.filter
def figure_word(code: str) -> str:
    """What a key figure is called."""
    return _(FIGURE_WORDS[code])


@register.filter
def case_word(code: str) -> str:
    """The plan, the ordinary mortgage, the same cash in prepayments."""
    return _(CASE_WORDS[code])


@register.filter
def renewal_word(code: str) -> str:
    """What happens at a renewal."""
    return _(RENEWAL_WORDS[code])


@register.filter
def value_word(code: str) -> str:
    """What the plan does with interest, distributions or the refund."""
    return _(VALUE_WORDS[code])


@register.filter
def assumed_word(row: dict[str, Any]) -> str:
    """What an assumption is called, with the account and the date it is about."""
    words = _(ASSUMED_WORDS[row["what"]])
    about = [row["about"]] if row["about"] else []
    if row["on"]:
        about.append(formatting.short_day(row["on"], _language()))
    return f"{words} ({', '.join(about)})" if about else words


@register.filter
def assumed_value(row: dict[str, Any]) -> str:
    """An assumption's value by its shape."""
    value = str(row["value"])
    if row["what"] == "refund-month":
        names = formatting.FR_MONTHS if formatting.is_french(_language()) else formatting.EN_MONTHS
        return names[int(value) - 1]
    if row["shape"] == "percent":
        return formatting.percent(value, _language())
    if row["shape"] == "money":
        return formatting.money(value, _language())
    return value_word(value)


@register.filter
def bearer(row: dict[str, Any]) -> str:
    """Who bears it when an assumption turns out otherwise."""
    words = _(BEARER_WORDS[row["bearer"]])
    if row["until"]:
        return words % {"until": formatting.short_day(row["until"], _language())}
    return words
