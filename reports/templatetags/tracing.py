"""Template filters of the trace pages: rules, uses, kinds of entries."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.translation import gettext as _

from planning.core.money import text_from_cents
from reports.packets.words import CLASS_WORDS, ENTRY_WORDS, ROW_GROUPS, USE_WORDS
from reports.templatetags.figures import key_words, money, short_day, signed_money
from reports.trace_words import (
    ACTION_WORDS,
    FACT_WORDS,
    FIELD_WORDS,
    KIND_WORDS,
    METHOD_WORDS,
    OUTCOME_WORDS,
    RULE_WORDS,
    TARGET_WORDS,
    TO_DATE_WORDS,
)

register = template.Library()


@register.filter
def cents(amount: int | None) -> str:
    """Whole cents as dollars and cents; a dash for None."""
    return money(None if amount is None else text_from_cents(amount))


@register.filter
def signed_cents(amount: int | None) -> str:
    """Whole cents as dollars and cents with their sign; a dash for None."""
    return signed_money(None if amount is None else text_from_cents(amount))


@register.filter
def target_word(target: str) -> str:
    """What borrowed money stands in: an account's own reference, or a use in words."""
    return _(TARGET_WORDS[target]) if target in TARGET_WORDS else target


@register.filter
def kind_word(kind: str) -> str:
    """A kind of entry of any account in words."""
    words = ENTRY_WORDS | KIND_WORDS
    return _(words[kind]) if kind in words else kind


@register.filter
def outcome_word(outcome: str) -> str:
    """What came of an entry, in a sentence."""
    return _(OUTCOME_WORDS[outcome])


@register.filter
def method_word(method: str) -> str:
    """The method of deducting in words."""
    return _(METHOD_WORDS[method])


@register.filter
def rule(name: str) -> dict[str, Any]:
    """A rule's sentence, section and source in the page's language."""
    words = RULE_WORDS[name]
    return {"text": _(words.text), "section": _(words.section), "law": _(words.law)}


@register.filter
def fact_word(what: str) -> str:
    """A sort of fact in words."""
    return _(FACT_WORDS[what])


@register.filter
def action_word(action: str) -> str:
    """Added, removed, altered."""
    return _(ACTION_WORDS[action])


@register.filter
def field_word(name: str) -> str:
    """A field of a fact in words; a stated rate carries its date."""
    head, _blank, day = name.partition(" ")
    if head == "rate" and day:
        return f"{_(FIELD_WORDS['rate'])} {short_day(day)}"
    return _(FIELD_WORDS[name]) if name in FIELD_WORDS else name


@register.filter
def fact_value(text: str) -> str:
    """A field's value: amounts, dates and words of the trade in the page's language."""
    words = USE_WORDS | ENTRY_WORDS | KIND_WORDS | CLASS_WORDS
    if text in words:
        return _(words[text])
    parts = [
        " ".join(_(words[one]) if one in words else key_words(one) for one in part.split(" "))
        for part in text.split("; ")
    ]
    return "; ".join(parts)


@register.filter
def measure_word(measure: str) -> str:
    """A measure of the month row in words, with the group it belongs to."""
    for title, rows in ROW_GROUPS:
        for key, words in rows:
            if key == measure:
                return f"{_(title)}: {_(words)}"
    return _(TO_DATE_WORDS)
