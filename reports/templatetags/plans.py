"""Template filters of the plan's pages."""

from __future__ import annotations

import re

from django import template
from django.utils.translation import gettext as _

from planning.core.whatif_refusals import Refusal
from reports.plan_words import CASE_WORDS, FIELD_WORDS, KIND_WORDS, REFUND_WORDS, REFUSAL_WORDS
from reports.templatetags.figures import key_words

register = template.Library()
AS_TYPED = ("mortgage", "years", "count", "most")
_FIELD = re.compile(r"([a-z_]+?)([1-4])?\Z")


@register.filter
def refusal_words(refused: Refusal) -> str:
    """What is wrong with a field and what to do, its figures in the page's form."""
    typed = refused.code.startswith("not-a-")  # what a person typed is shown as it is
    values = {
        name: value if typed or name in AS_TYPED else key_words(value)
        for name, value in refused.values
    }
    return _(REFUSAL_WORDS[refused.code]).format(**values)


@register.filter
def field_word(name: str) -> str:
    """What a field of the forms is called; one of an offer with the offer's number."""
    found = _FIELD.match(name)
    label = _(FIELD_WORDS[found[1]]) if found and found[1] in FIELD_WORDS else name
    return f"{found[2]}. {label}" if found and found[2] else label


@register.filter
def case_word(name: str) -> str:
    """What a loss case is called."""
    return _(CASE_WORDS[name])


@register.filter
def kind_word(name: str) -> str:
    """What a kind of term is called."""
    return _(KIND_WORDS[name])


@register.filter
def refund_word(name: str) -> str:
    """What is done with the refund."""
    return _(REFUND_WORDS[name])
