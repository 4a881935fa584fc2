"""What closing again changed: the revisions of closed months, pair by pair. Reads only.

Derived from the stored results, never stored twice: each revision of a month
keeps its figures for good, so the difference of two of them can always be told.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from typing import Any
from uuid import UUID

from django.db.models import Count, OuterRef, Subquery
from django.db.models.fields.json import KeyTransform

from ledger.core.restatement import FactChange, MonthChange, fact_changes, month_changes
from ledger.mapping import household_value
from ledger.models import HouseholdMonth
from planning.core.money import cents_from_text
from planning.core.months import last_day, month_of
from planning.core.plan_types import ROW_KEYS
from planning.models import Household

TO_DATE = "deductible_to_date"
MEASURES = (*ROW_KEYS, TO_DATE)


@dataclass(frozen=True, slots=True)
class Revision:
    """One stored result of a month: when and why it was written, and its measures in cents."""

    month: str
    version: int
    reason: str
    closed_at: datetime
    digest: str
    measures: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Restated:
    """Months closed again for one reason on one day.

    `looked_at` counts all of them, `months` are those with a figure that
    changed. `known_before` and `known_after` say which facts were on file at
    the two closes of the last of the months, `through`.
    """

    reason: str
    on: date
    looked_at: int
    months: tuple[MonthChange, ...]
    through: str
    known_before: datetime
    known_after: datetime

    def difference(self, measure: str) -> int:
        """The change of a flow over all months together, in cents."""
        return sum(one.difference(measure) for one in self.months)

    def by_year(self, measure: str) -> dict[int, int]:
        """The change of a flow by calendar year, in cents, years without a change left out."""
        found: dict[int, int] = defaultdict(int)
        for one in self.months:
            found[int(one.month[:4])] += one.difference(measure)
        return {year: cents for year, cents in sorted(found.items()) if cents}


def revisions(household_id: UUID) -> dict[str, tuple[Revision, ...]]:
    """Every result of the months that have more than one, by month, oldest version first."""
    counted = (
        HouseholdMonth.objects.filter(
            household_id=household_id, month=OuterRef("month"), result__isnull=False
        )
        .order_by()
        .values("month")
        .annotate(results=Count("pk"))
        .values("results")
    )
    rows = (
        HouseholdMonth.objects.filter(household_id=household_id, result__isnull=False)
        .annotate(
            results=Subquery(counted),
            actual=KeyTransform("actual", "result"),
            to_date=KeyTransform(TO_DATE, "result"),
        )
        .filter(results__gt=1)
        .order_by("month", "version")
        .values("month", "version", "reason", "closed_at", "input_digest", "actual", "to_date")
    )
    found: dict[str, list[Revision]] = defaultdict(list)
    for row in rows:
        month = month_of(row["month"])
        found[month].append(_revision(month, row))
    return {month: tuple(several) for month, several in found.items()}


def _revision(month: str, row: Mapping[str, Any]) -> Revision:
    stored = dict(row["actual"]) | {TO_DATE: row["to_date"] or "0.00"}
    measures = {name: cents_from_text(stored[name]) for name in MEASURES if name in stored}
    return Revision(
        month, row["version"], row["reason"], row["closed_at"], row["input_digest"], measures
    )


def change_of(before: Revision, after: Revision) -> MonthChange | None:
    """The measures of a month that two of its revisions give differently; None without any."""
    found = month_changes({before.month: before.measures}, {after.month: after.measures})
    return found[0] if found else None


def restated(found: Mapping[str, tuple[Revision, ...]]) -> tuple[Restated, ...]:
    """Restatements of a household, the latest first, from its `revisions`."""
    groups: dict[tuple[date, str], list[tuple[Revision, Revision]]] = defaultdict(list)
    for several in found.values():
        for before, after in pairwise(several):
            groups[after.closed_at.date(), after.reason].append((before, after))
    listed = [_restated(on, reason, pairs) for (on, reason), pairs in groups.items()]
    return tuple(sorted(listed, key=lambda one: one.known_after, reverse=True))


def _restated(on: date, reason: str, pairs: list[tuple[Revision, Revision]]) -> Restated:
    pairs.sort(key=lambda pair: (pair[1].month, pair[1].version))
    before, after = pairs[-1]
    changes = (change_of(*pair) for pair in pairs)
    return Restated(
        reason=reason,
        on=on,
        looked_at=len(pairs),
        months=tuple(one for one in changes if one is not None),
        through=after.month,
        known_before=before.closed_at,
        known_after=after.closed_at,
    )


def facts_between(
    household: Household, before: datetime, after: datetime, through: str
) -> tuple[FactChange, ...]:
    """What of a household's facts changed between two times, for months up to `through`.

    Empty when only a threshold or the engine changed.
    """
    return fact_changes(
        household_value(household, before), household_value(household, after), last_day(through)
    )
