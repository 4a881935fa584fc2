"""The counter beside the inbox's name."""

from __future__ import annotations

from typing import Any

from django import template

from config.database.scope import in_scope
from reports.selectors.inbox import unseen_count

register = template.Library()


@register.filter
def sees_findings(access: Any) -> bool:
    """Whether findings are for whoever asks."""
    return bool(access.can("finding.view"))


@register.simple_tag(takes_context=True)
def unseen_findings(context: Any) -> int:
    """Open findings to act on or fix that nobody has looked at; 0 outside a firm's scope."""
    request = context.get("request")
    known: int | None = getattr(request, "unseen_findings", None)
    if known is not None:
        return known
    access = getattr(request, "access", None)
    return unseen_count(access) if access is not None and in_scope() else 0
