"""What was restated, for the household's page, a month's page and the packets."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Any

from ledger.core.restatement import MonthChange
from ledger.selectors.restatements import (
    Restated,
    Revision,
    change_of,
    facts_between,
    restated,
    revisions,
)
from planning.core.money import text_from_cents

ACTION = "trace.view"
Revisions = Mapping[str, tuple[Revision, ...]]
DETAILED = 6
FACTS_SHOWN = 40


def restatement_rows(found: Revisions) -> list[dict[str, Any]]:
    """A household's restatements, the latest first, one row each."""
    return [_row(one) for one in restated(found)]


def _row(one: Restated) -> dict[str, Any]:
    months = [change.month for change in one.months]
    return {
        "on": one.on,
        "reason": one.reason,
        "looked_at": one.looked_at,
        "first": min(months, default=None),
        "last": max(months, default=None),
        "count": len(months),
        "deductible": text_from_cents(one.difference("deductible")),
        "years": [
            {"year": year, "deductible": text_from_cents(cents)}
            for year, cents in one.by_year("deductible").items()
        ],
    }


def restatements_page(access: Any, ref: str) -> dict[str, Any]:
    """The household's restatements with the facts and months that changed."""
    access.require(ACTION)
    row = access.household(ref)
    rows: list[dict[str, Any]] = []
    for number, one in enumerate(restated(revisions(row.pk))):
        facts = None
        if number < DETAILED:
            facts = facts_between(row, one.known_before, one.known_after, one.through)
        months = [_month(change) for change in one.months]
        rows.append(_row(one) | {"months": months, **_facts(facts)})
    return {"ref": row.ref, "name": row.name, "rows": rows}


def _facts(facts: Any) -> dict[str, Any]:
    if facts is None:
        return {"facts": None, "more_facts": 0}
    return {"facts": facts[:FACTS_SHOWN], "more_facts": max(0, len(facts) - FACTS_SHOWN)}


def _month(change: MonthChange) -> dict[str, Any]:
    return {"month": change.month, "changes": change.measures}


def month_restatements(row: Any, month: str, found: Revisions) -> list[dict[str, Any]]:
    """The restatements of one month, the latest first; the latest with its changed facts."""
    pairs = list(pairwise(found.get(month, ())))[::-1]
    rows: list[dict[str, Any]] = []
    for number, (before, after) in enumerate(pairs):
        change = change_of(before, after)
        facts = None
        if number == 0:
            facts = facts_between(row, before.closed_at, after.closed_at, month)
        rows.append(
            {
                "on": after.closed_at.date(),
                "reason": after.reason,
                "was": text_from_cents(before.measures.get("deductible", 0)),
                "now": text_from_cents(after.measures.get("deductible", 0)),
                "changes": () if change is None else change.measures,
                **_facts(facts),
            }
        )
    return rows


def packet_difference(
    digests: Mapping[str, str] | None, closed: Mapping[str, Mapping[str, Any]], found: Revisions
) -> dict[str, Any] | None:
    """What of a packet's months reads differently now; None when its figures stand.

    `digests` are the packet's own, by month; `closed` the household's months as
    the newest closes have them. A month whose facts changed without changing a
    figure does not supersede what was said.
    """
    was = now = 0
    months: list[str] = []
    for month, digest in (digests or {}).items():
        several = found.get(month, ())
        current = closed.get(month)
        if current is None or current["digest"] == digest or not several:
            continue
        old = next((one for one in several if one.digest == digest), None)
        if old is None:
            continue
        change = change_of(old, several[-1])
        if change is None:
            continue
        months.append(month)
        was += old.measures.get("deductible", 0)
        now += several[-1].measures.get("deductible", 0)
    if not months:
        return None
    return {
        "months": months,
        "was": text_from_cents(was),
        "now": text_from_cents(now),
        "difference": text_from_cents(now - was),
    }
