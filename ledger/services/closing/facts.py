"""What the close needs to know of a firm's books: its date, its statements, its households."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.db import connection
from django.db.models import Max

from ledger import mapping
from ledger.core.drift.thresholds import Thresholds
from ledger.core.lifecycle import UNFINISHED, waits_until
from ledger.core.months_over import months_over
from ledger.models import HouseholdMonth, Statement
from ledger.selectors.thresholds import thresholds_in_force
from planning.core.months import last_day
from planning.core.types import Household
from planning.models import Household as HouseholdRow

Spans = dict[UUID, list[tuple[date, date]]]
"""Statement periods on file, by account."""


@dataclass(frozen=True)
class Coverage:
    """The statement periods on file of a firm's households, and the firm's own date."""

    today: date
    households: dict[UUID, Spans]

    def started(self, month: date) -> list[UUID]:
        """Households whose first statement starts in `month` or before it."""
        end = last_day(f"{month:%Y-%m}")
        return [one for one, spans in self.households.items() if _first(spans) <= end]

    def is_ready(self, household_id: UUID, month: date) -> bool:
        """Whether a month need not wait: every account is covered, or the grace is over."""
        end = last_day(f"{month:%Y-%m}")
        if self.today > waits_until(end):
            return True
        spans = self.households.get(household_id, {})
        begun = [one for one in spans.values() if min(one)[0] <= end]
        return bool(begun) and all(_covers(one, end) for one in begun)

    def months_over(self) -> list[date]:
        """First days of the months from the firm's first statement to the last one that is over."""
        if not self.households:
            return []
        return list(months_over(min(map(_first, self.households.values())), self.today))


def coverage(household_id: UUID | None = None) -> Coverage:
    """The statements in force of the firm in scope, or of one household."""
    rows = Statement.objects.current().order_by("household__ref")
    if household_id is not None:
        rows = rows.filter(household_id=household_id)
    found: dict[UUID, Spans] = {}
    for household, account, starts, ends in rows.values_list(
        "household_id", "account_id", "starts", "ends"
    ):
        found.setdefault(household, defaultdict(list))[account].append((starts, ends))
    return Coverage(firm_today(), found)


def firm_today() -> date:
    """The date on the calendar of the firm in scope, by the database's clock."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT (clock_timestamp() AT TIME ZONE timezone)::date FROM planning_firm")
        row = cursor.fetchone()
    assert row is not None, "a firm's scope shows its own row"
    today: date = row[0]
    return today


def last_open_month(household_id: UUID) -> date:
    """The last month of a household that is not closed; its last month when all are."""
    rows = HouseholdMonth.objects.filter(household_id=household_id)
    open_rows = rows.filter(state__in=UNFINISHED).aggregate(last=Max("month"))["last"]
    return open_rows or rows.aggregate(last=Max("month"))["last"] or date.min


def household_value(household_id: UUID) -> tuple[Household, Thresholds]:
    """The household as a core value, with its firm's thresholds. Raises BadInput.

    Within the firm's scope.
    """
    row = HouseholdRow.objects.get(pk=household_id)
    return mapping.household_value(row), thresholds_in_force(row.firm_id)


def _first(spans: Spans) -> date:
    return min(start for one in spans.values() for start, _ in one)


def _covers(spans: list[tuple[date, date]], day: date) -> bool:
    return any(start <= day <= end for start, end in spans)
