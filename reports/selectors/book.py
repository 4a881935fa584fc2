"""What the work list, the inbox, mails and calendars share about findings."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.db.models import Q

from planning.core.money import text_from_cents
from planning.core.months import month_of

GRACE = timedelta(days=10)


def working() -> Q:
    """Findings that still ask for something: open and not accepted by a person."""
    return Q(open=True) & ~Q(state="accepted")


def finding_json(one: Any) -> dict[str, Any]:
    """A row of the list of findings in the report's terms."""
    return {
        "id": one.pk,
        "code": one.code,
        "key": one.key,
        "severity": one.severity,
        "first": month_of(one.first_month),
        "last": month_of(one.last_month),
        "dollars": text_from_cents(one.dollars_cents),
        "cost_per_year": text_from_cents(one.cost_per_year_cents),
        "open": one.open,
    }
