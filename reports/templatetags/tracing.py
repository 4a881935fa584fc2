"""Template filters of the trace pages: rules, uses, kinds of entries."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.translation import gettext as _

from planning.core.money import text_from_cents
from reports.packets.words import ENTRY_WORDS
from reports.templatetags.figures import money, signed_money
from reports.trace_words import KIND_WORDS, METHOD_WORDS, OUTCOME_WORDS, RULE_WORDS, TARGET_WORDS

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
