"""Who works on a household's month: lease, fence and order, in single statements.

All times are the database's. A claim raises the fence; everything a worker
writes afterwards is conditional on that fence, so a worker that lost its lease
writes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.conf import settings
from django.db import connection

from ledger.core.lifecycle import backoff_seconds, state_after_failure

ERROR_LENGTH = 2000

# A month waits for the earlier months of its household: unfinished ones, and
# closed ones whose facts changed. A parked month holds nothing up.
_EARLIER_OPEN = """
    EXISTS (SELECT 1 FROM ledger_householdmonth earlier
             WHERE earlier.household_id = item.household_id AND earlier.month < item.month
               AND (earlier.state IN ('waiting', 'pending', 'running', 'failed')
                    OR (earlier.state = 'done' AND earlier.stale_reason <> '')))
"""
_CLAIMABLE = f"""
    ((item.state IN ('pending', 'failed') AND item.due_at <= clock_timestamp())
     OR (item.state = 'running' AND item.lease_until < clock_timestamp()))
    AND item.attempt < %(max_attempts)s
    AND NOT {_EARLIER_OPEN}
"""
_CLAIM = f"""
    UPDATE ledger_householdmonth
       SET state = 'running', fence = fence + 1, attempt = attempt + 1, error = '',
           lease_until = clock_timestamp() + make_interval(secs => %(lease)s)
     WHERE id = (SELECT item.id FROM ledger_householdmonth item
                  WHERE item.household_id = %(household)s AND item.month <= %(through)s
                    AND {_CLAIMABLE}
                  ORDER BY item.month LIMIT 1
                  FOR UPDATE SKIP LOCKED)
 RETURNING id, close_id, household_id, month, version, fence, attempt
"""  # noqa: S608 - composed of the constants above
_FAIL = """
    UPDATE ledger_householdmonth
       SET state = %(state)s, error = %(error)s, lease_until = NULL, hinted_at = NULL,
           due_at = clock_timestamp() + make_interval(secs => %(wait)s)
     WHERE id = %(id)s AND fence = %(fence)s AND state = 'running'
"""
_EXPIRE = """
    UPDATE ledger_householdmonth
       SET state = CASE WHEN attempt >= %(max_attempts)s THEN 'parked' ELSE 'pending' END,
           error = CASE WHEN attempt >= %(max_attempts)s
                        THEN 'the worker died on every attempt' ELSE error END,
           fence = fence + 1, lease_until = NULL, hinted_at = NULL, due_at = clock_timestamp()
     WHERE id IN (SELECT id FROM ledger_householdmonth
                   WHERE state = 'running' AND lease_until < clock_timestamp()
                   FOR UPDATE SKIP LOCKED)
"""


class LostLeaseError(Exception):
    """The row was taken over, or its facts changed, while this worker was on it."""


@dataclass(frozen=True, slots=True)
class Claim:
    """The right to write one version of one month, as long as the fence holds."""

    id: UUID
    close_id: UUID
    household_id: UUID
    month: date
    version: int
    fence: int
    attempt: int


def claim_next(household_id: UUID, through: date) -> Claim | None:
    """Take the household's earliest month that is due, up to `through`; None if there is none.

    Within the caller's firm scope; the claim holds once that commits.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            _CLAIM,
            {
                "household": household_id,
                "through": through,
                "lease": settings.CLOSE_LEASE_SECONDS,
                "max_attempts": settings.CLOSE_MAX_ATTEMPTS,
            },
        )
        row = cursor.fetchone()
    return None if row is None else Claim(*row)


def give_up(claim: Claim, error: str, *, lasting: bool) -> str:
    """Record a failed attempt and when the next is due; the state it was left in.

    `lasting`: trying again would fail again, so a person is asked at once.
    Raises LostLeaseError when somebody else holds the row by now.
    """
    state = state_after_failure(
        claim.attempt, lasting=lasting, max_attempts=settings.CLOSE_MAX_ATTEMPTS
    )
    with connection.cursor() as cursor:
        cursor.execute(
            _FAIL,
            {
                "state": state,
                "error": error[:ERROR_LENGTH],
                "wait": backoff_seconds(claim.attempt) if state == "failed" else 0,
                "id": claim.id,
                "fence": claim.fence,
            },
        )
        if cursor.rowcount != 1:
            raise LostLeaseError
    return state


def release_expired() -> int:
    """Make rows of dead workers due again, or park them after the last attempt; how many."""
    with connection.cursor() as cursor:
        cursor.execute(_EXPIRE, {"max_attempts": settings.CLOSE_MAX_ATTEMPTS})
        return int(cursor.rowcount)


def fences(household_id: UUID) -> dict[UUID, int]:
    """The fence of every current month of a household, by row id."""
    from ledger.models import HouseholdMonth

    rows = HouseholdMonth.objects.filter(household_id=household_id).exclude(state="superseded")
    return dict(rows.values_list("id", "fence"))
