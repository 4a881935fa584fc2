"""Which months are due, and one row for each household in them, made once."""

from __future__ import annotations

from datetime import date
from uuid import UUID

from django.db.models.functions import Now

from config import audit
from config.database import firm_scope
from config.faults import fault_point
from ledger.models import HouseholdMonth, MonthClose
from ledger.services.closing import facts, sweeping
from ledger.services.closing.facts import Coverage
from planning.access import Access
from planning.selectors.firms import firm_ids


def schedule_all() -> int:
    """Make what is due for every firm, each in a scope of its own; how many rows were added."""
    added = 0
    for firm_id in firm_ids():
        with firm_scope(firm_id):
            added += schedule_due(firm_id)
    return added


def schedule_due(firm_id: UUID) -> int:
    """Make the rows of every month that is over on the firm's own calendar.

    Within the caller's firm scope. A week of downtime is caught up by one call.
    Returns the number of household months added.
    """
    added = 0
    books = facts.coverage()
    for month in books.months_over():
        added += schedule_month(firm_id=firm_id, month=month, books=books)
        fault_point("schedule.month")
    return added


def schedule_month(*, firm_id: UUID, month: date, books: Coverage, only: UUID | None = None) -> int:
    """Make a firm's close of `month` with a row for each household it concerns.

    `books` says who is concerned; `only` keeps it to one household. Within the
    caller's firm scope. Anybody may call it any number of times: the unique
    keys make the second call find everything there. Returns the number of household months added.
    """
    chosen = [one for one in books.started(month) if only in (None, one)]
    if not chosen:
        return 0
    MonthClose.objects.bulk_create(
        [MonthClose(firm_id=firm_id, month=month)], ignore_conflicts=True
    )
    close = MonthClose.objects.select_for_update().get(firm_id=firm_id, month=month)
    fault_point("schedule.close")
    have = set(HouseholdMonth.objects.filter(close=close).values_list("household_id", flat=True))
    rows = [
        HouseholdMonth(
            firm_id=firm_id,
            close=close,
            household_id=household_id,
            month=month,
            state="pending" if books.is_ready(household_id, month) else "waiting",
        )
        for household_id in chosen
        if household_id not in have
    ]
    if not rows:
        return 0
    HouseholdMonth.objects.bulk_create(rows, ignore_conflicts=True)
    sweeping.finalize(close.pk)
    return len(rows)


def release_parked(*, access: Access, household_id: UUID, month: date) -> bool:
    """Try a parked month again, on a person's word; whether there was one.

    Within the caller's firm scope. Raises PermissionDenied.
    """
    access.require("month.close")
    rows = HouseholdMonth.objects.filter(
        household_id=household_id, month=month.replace(day=1), state="parked"
    )
    found = rows.first()
    if found is None:
        return False
    MonthClose.objects.select_for_update().get(pk=found.close_id)
    released = rows.update(state="pending", attempt=0, due_at=Now(), error="", hinted_at=None)
    sweeping.finalize(found.close_id)
    audit.record(
        access,
        "month.retry",
        object_type="household",
        object_id=household_id,
        detail={"month": f"{month:%Y-%m}"},
    )
    return bool(released)
