"""How far the month closes of a firm are. Reads only; within a firm's scope."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db.models import Count, F, Q

from ledger.models import HouseholdMonth, Job, MonthClose


@dataclass(frozen=True, slots=True)
class CloseProgress:
    """One firm's month: how many households stand where. `month` is "YYYY-MM"."""

    month: str
    state: str
    total: int
    done: int
    waiting: int
    pending: int
    running: int
    failed: int
    parked: int
    stale: int
    recorded_at: datetime
    completed_at: datetime | None


@dataclass(frozen=True, slots=True)
class ItemProgress:
    """One household's month within a close."""

    id: UUID
    household: str
    month: str
    version: int
    state: str
    attempt: int
    reason: str
    error: str
    stale_reason: str
    digest: str
    closed_at: datetime | None


def closes(*, first: date | None = None, last: date | None = None) -> tuple[CloseProgress, ...]:
    """Every close of the firm in scope, the latest month first, in one query."""
    rows = MonthClose.objects.all()
    if first is not None:
        rows = rows.filter(month__gte=first)
    if last is not None:
        rows = rows.filter(month__lte=last)
    current = ~Q(items__state="superseded")
    counted = rows.annotate(
        total=Count("items", filter=current),
        stale=Count("items", filter=Q(items__state="done") & ~Q(items__stale_reason="")),
        **{
            f"n_{state}": Count("items", filter=Q(items__state=state))
            for state in ("done", "waiting", "pending", "running", "failed", "parked")
        },
    ).order_by("-month")
    return tuple(_progress(row) for row in counted)


def _progress(row: MonthClose) -> CloseProgress:
    return CloseProgress(
        month=f"{row.month:%Y-%m}",
        state=row.state,
        total=row.total,  # type: ignore[attr-defined]
        done=row.n_done,  # type: ignore[attr-defined]
        waiting=row.n_waiting,  # type: ignore[attr-defined]
        pending=row.n_pending,  # type: ignore[attr-defined]
        running=row.n_running,  # type: ignore[attr-defined]
        failed=row.n_failed,  # type: ignore[attr-defined]
        parked=row.n_parked,  # type: ignore[attr-defined]
        stale=row.stale,  # type: ignore[attr-defined]
        recorded_at=row.recorded_at,
        completed_at=row.completed_at,
    )


def items(
    *, first: date, last: date, household: UUID | None = None, state: str | None = None
) -> tuple[ItemProgress, ...]:
    """Current household months from `first` to `last`, by household reference and month."""
    rows = HouseholdMonth.objects.filter(month__gte=first, month__lte=last)
    rows = rows.exclude(state="superseded")
    if household is not None:
        rows = rows.filter(household_id=household)
    if state is not None:
        rows = rows.filter(state=state)
    rows = rows.defer("result").annotate(ref=F("household__ref")).order_by("ref", "month")
    return tuple(
        ItemProgress(
            id=row.pk,
            household=row.ref,
            month=f"{row.month:%Y-%m}",
            version=row.version,
            state=row.state,
            attempt=row.attempt,
            reason=row.reason,
            error=row.error,
            stale_reason=row.stale_reason,
            digest=row.input_digest,
            closed_at=row.closed_at,
        )
        for row in rows
    )


def jobs(*, limit: int = 50) -> tuple[Job, ...]:
    """The latest background jobs of the firm in scope."""
    return tuple(Job.objects.order_by("-recorded_at", "key")[:limit])
