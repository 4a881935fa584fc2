"""Whatever was lost, dropped or left behind is found again here.

UUID number of copies may run at any time: each step is a statement that finds
nothing to do when another copy was first.
"""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.conf import settings
from django.db import connection
from django.db.models import Count, Exists, OuterRef, Q
from django.db.models.functions import Now

from config import audit
from config.database import firm_scope
from config.faults import fault_point
from config.sending import send_after_commit
from ledger.core.lifecycle import UNFINISHED, close_state
from ledger.models import HouseholdMonth, MonthClose
from ledger.services import jobs
from ledger.services.closing import announcing, claiming, expiring, facts
from planning.access import Access
from planning.selectors.firms import firm_ids

CLOSE_ITEM = "ledger.tasks.close_item"

# The earliest row of each household that somebody should look at, unless it was
# hinted a moment ago. Later months of the household are closed by the same hint.
_DUE = """
    UPDATE ledger_householdmonth SET hinted_at = clock_timestamp()
     WHERE id IN (
        SELECT DISTINCT ON (household_id) id FROM ledger_householdmonth
         WHERE (%(household)s::uuid IS NULL OR household_id = %(household)s::uuid)
           AND (state IN ('pending', 'failed', 'running', 'waiting')
                OR (state = 'done' AND stale_reason <> ''))
         ORDER BY household_id, month)
       AND state IN ('pending', 'failed', 'done') AND due_at <= clock_timestamp()
       AND (hinted_at IS NULL
            OR hinted_at < clock_timestamp() - make_interval(secs => %(again)s))
 RETURNING id
"""


@dataclass(frozen=True, slots=True)
class Swept:
    """What one sweep of one firm found."""

    released: int
    woken: int
    hinted: int
    finished: int
    expired: int


def sweep_all() -> int:
    """Sweep every firm, each in scopes of its own; how many hints were sent."""
    return sum(sweep_firm(firm_id).hinted for firm_id in firm_ids())


def sweep_firm(firm_id: UUID) -> Swept:
    """Release dead workers' rows, wake months whose wait is over, hint, finish; put back
    findings whose acceptance is over. Own scopes.
    """
    with firm_scope(firm_id):
        released = claiming.release_expired()
    fault_point("sweep.released")
    with firm_scope(firm_id):
        woken = wake_waiting()
    fault_point("sweep.woken")
    with firm_scope(firm_id):
        hinted = hint_due(firm_id=firm_id)
    fault_point("sweep.hinted")
    with firm_scope(firm_id):
        unfinished = HouseholdMonth.objects.filter(close=OuterRef("pk"), state__in=UNFINISHED)
        closes = MonthClose.objects.filter(
            Q(state__in=("scheduled", "running")) | Exists(unfinished)
        )
        open_closes = list(closes.values_list("pk", flat=True))
    finished = 0
    for close_id in open_closes:
        with firm_scope(firm_id):
            finished += finalize(close_id)
    with firm_scope(firm_id):
        expired = expiring.put_back_expired(firm_id=firm_id)
    return Swept(released, woken, hinted, finished, expired)


def wake_waiting() -> int:
    """Make waiting months due whose statements are in, or whose grace is over; how many."""
    rows = HouseholdMonth.objects.filter(state="waiting").values_list("pk", "household_id", "month")
    waiting = list(rows)
    if not waiting:
        return 0
    books = facts.coverage()
    ready = [pk for pk, household_id, month in waiting if books.is_ready(household_id, month)]
    return HouseholdMonth.objects.filter(pk__in=ready, state="waiting").update(
        state="pending", due_at=Now(), hinted_at=None
    )


def hint_due(*, firm_id: UUID, household_id: UUID | None = None) -> int:
    """Send a worker the first due month of each household (or of one); how many were sent."""
    with connection.cursor() as cursor:
        cursor.execute(
            _DUE,
            {
                "household": household_id,
                "again": settings.CLOSE_HINT_SECONDS,
            },
        )
        ids = [row[0] for row in cursor.fetchall()]
    for item_id in ids:
        send_after_commit(CLOSE_ITEM, str(firm_id), str(item_id), queue="close")
    return len(ids)


def finalize(close_id: UUID) -> bool:
    """Settle a close's state by counting its current items under its lock; whether it completed."""
    close = MonthClose.objects.select_for_update().get(pk=close_id)
    current = HouseholdMonth.objects.filter(close_id=close_id).exclude(state="superseded")
    counts = dict(current.values_list("state").annotate(Count("pk")))
    state = close_state(counts)
    done = state.startswith("complete")
    jobs.watch(
        firm_id=close.firm_id,
        kind="close",
        key=f"{close.month:%Y-%m}",
        state="done" if done else "queued" if state == "scheduled" else "running",
        done=counts.get("done", 0) + counts.get("parked", 0),
        total=sum(counts.values()),
        message=_words(counts),
    )
    if state == close.state:
        return False
    MonthClose.objects.filter(pk=close_id).update(state=state, completed_at=Now() if done else None)
    if done:
        event = audit.record(
            Access.system(close.firm_id, "month close", channel="worker"),
            "month.complete",
            object_type="month_close",
            object_id=close_id,
            detail={"month": f"{close.month:%Y-%m}", "state": state, **counts},
        )
        announcing.month(close, state=state, number=event.number)
    return done


def _words(counts: dict[str, int]) -> str:
    """The counts as a short line."""
    return ", ".join(f"{counts[name]} {name}" for name in sorted(counts))
