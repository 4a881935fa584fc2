"""What corrected facts do to months: marked at once, looked at again, never overwritten."""

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import UUID

from django.db import connection
from django.db.models import Max, QuerySet
from django.db.models.functions import Now

from config import audit
from config.faults import fault_point
from ledger.core.lifecycle import ItemState
from ledger.core.month_result import HouseholdCloser
from ledger.models import HouseholdMonth, MonthClose
from ledger.services.closing.claiming import ERROR_LENGTH
from planning.access import Access

# One household from a month on, or the whole firm: the firm in scope owns every row in sight.
_WHICH = """(%(household)s::uuid IS NULL OR household_id = %(household)s::uuid)
       AND (%(month)s::date IS NULL OR month >= %(month)s::date)"""
# The fence rises on every row: a close under way with the old facts cannot write,
# and one that holds the household in memory reads it again.
_MARK = f"""
    UPDATE ledger_householdmonth
       SET fence = fence + 1,
           stale_reason = CASE WHEN state <> 'done' OR position(%(reason)s IN stale_reason) > 0
                               THEN stale_reason
                               WHEN stale_reason = '' THEN %(reason)s
                               ELSE stale_reason || '; ' || %(reason)s END,
           state = CASE WHEN state IN ('running', 'failed', 'parked')
                        THEN 'pending' ELSE state END,
           attempt = CASE WHEN state IN ('running', 'failed', 'parked') THEN 0 ELSE attempt END,
           due_at = CASE WHEN state IN ('running', 'failed', 'parked', 'done')
                         THEN clock_timestamp() ELSE due_at END,
           lease_until = NULL, hinted_at = NULL
     WHERE {_WHICH} AND state <> 'superseded'
"""  # noqa: S608 - composed of the constants above
_NOT_READ = """
    UPDATE ledger_householdmonth
       SET error = %(error)s, due_at = clock_timestamp() + make_interval(secs => %(wait)s)
     WHERE household_id = %(household)s AND state = 'done' AND stale_reason <> ''
"""
# A parked month is tried again, so its close is no longer complete. Closes are locked
# before their rows, here as everywhere.
_REOPEN = f"""
    UPDATE ledger_monthclose SET state = 'running', completed_at = NULL
     WHERE state = 'complete_with_exceptions'
       AND id IN (SELECT close_id FROM ledger_householdmonth
                   WHERE {_WHICH} AND state = 'parked')
"""  # noqa: S608 - composed of the constants above


def mark_stale(*, household_id: UUID, month: date, reason: str) -> int:
    """Mark `month` and every later month of a household as resting on changed facts.

    Call it in the transaction that books the facts. `month` is that of the
    earliest changed fact, any day of it; `reason` is what a person will read
    beside the new version. Months that are not closed yet start afresh, parked
    ones included. Returns the number of rows touched.
    """
    return _mark(household_id, month.replace(day=1), reason)


def mark_firm_stale(*, reason: str) -> int:
    """Mark every month of every household of the firm in scope, as `mark_stale` does for one.

    For what all closes of a firm rest on, such as its thresholds.
    """
    return _mark(None, None, reason)


def _mark(household_id: UUID | None, month: date | None, reason: str) -> int:
    assert reason, "a new version needs a reason"
    wanted: dict[str, Any] = {"household": household_id, "month": month, "reason": reason}
    with connection.cursor() as cursor:
        cursor.execute(_REOPEN, wanted)
        cursor.execute(_MARK, wanted)
        return int(cursor.rowcount)


def closed_months(household_id: UUID, through: date, *, only_stale: bool) -> list[HouseholdMonth]:
    """Closed months up to `through`, oldest first; those whose facts changed, or all."""
    rows = HouseholdMonth.objects.filter(
        household_id=household_id, month__lte=through, state="done"
    )
    if only_stale:
        rows = rows.exclude(stale_reason="")
    return list(rows.defer("result").order_by("month"))


def stands(closer: HouseholdCloser, row: HouseholdMonth) -> bool:
    """Whether a closed month still rests on the facts, thresholds and engine of today."""
    return (closer.digest(f"{row.month:%Y-%m}"), closer.engine) == (row.input_digest, row.engine)


def renew(closer: HouseholdCloser, known: dict[UUID, int], row: HouseholdMonth) -> bool:
    """Open a new version of a closed month that does not stand; else clear its mark.

    `closer` holds the household as read after the fences `known`. A row whose
    fence has moved since is left for the next look. Whether a version was opened.
    """
    if known.get(row.pk) != row.fence:
        return False
    if stands(closer, row):
        _still(row).update(stale_reason="", error="")
        return False
    return open_version(row, row.stale_reason or "facts, thresholds or engine changed")


def not_read(household_id: UUID, error: str) -> None:
    """Keep the error beside the marks of a household that could not be read; look again later."""
    with connection.cursor() as cursor:
        cursor.execute(
            _NOT_READ, {"household": household_id, "error": error[:ERROR_LENGTH], "wait": 480}
        )


def open_version(row: HouseholdMonth, reason: str, state: ItemState = "pending") -> bool:
    """Supersede a closed month and put its next version to work; False if it was done already."""
    MonthClose.objects.select_for_update().get(pk=row.close_id)
    moved = _still(row).update(state="superseded", superseded_at=Now(), stale_reason="", error="")
    if not moved:
        return False
    fault_point("close.superseded")
    versions = HouseholdMonth.objects.filter(household_id=row.household_id, month=row.month)
    newest = versions.aggregate(newest=Max("version"))["newest"]
    HouseholdMonth.objects.create(
        firm_id=row.firm_id,
        close_id=row.close_id,
        household_id=row.household_id,
        month=row.month,
        version=newest + 1,
        state=state,
        reason=reason,
    )
    MonthClose.objects.filter(pk=row.close_id).update(state="running", completed_at=None)
    audit.record(
        Access.system(row.firm_id, "month close", channel="worker"),
        "month.reopen",
        object_type="household",
        object_id=row.household_id,
        detail={"month": f"{row.month:%Y-%m}", "version": newest + 1, "reason": reason},
    )
    return True


def _still(row: HouseholdMonth) -> QuerySet[HouseholdMonth]:
    """The row, if nobody has moved it since it was read."""
    return HouseholdMonth.objects.filter(pk=row.pk, state="done", fence=row.fence)
