"""Stored results of closed months. Reads only; within a firm's scope."""

from __future__ import annotations

from datetime import date
from uuid import UUID

from django.db.models import Q, QuerySet

from ledger.models import Finding, HouseholdMonth


def closed_months(household_id: UUID) -> tuple[str, ...]:
    """Months with a result in force, oldest first."""
    rows = _in_force(household_id).order_by("month").values_list("month", flat=True)
    return tuple(f"{month:%Y-%m}" for month in rows)


def latest_result(household_id: UUID, through: date | None = None) -> HouseholdMonth | None:
    """The latest closed month with its result, up to `through`; None when none is closed.

    A month whose facts changed since carries `stale_reason`; one that is being
    closed again is not in force until its new version is written.
    """
    rows = _in_force(household_id)
    if through is not None:
        rows = rows.filter(month__lte=through)
    return rows.order_by("-month").first()


def versions(household_id: UUID, month: date) -> tuple[HouseholdMonth, ...]:
    """Every version of one month, oldest first: what was said, when, and why it changed."""
    rows = HouseholdMonth.objects.filter(household_id=household_id, month=month)
    return tuple(rows.order_by("version"))


def findings(*, household_id: UUID | None = None, only_open: bool = True) -> tuple[Finding, ...]:
    """The list of findings, the gravest and dearest first."""
    rows = Finding.objects.select_related("household")
    if household_id is not None:
        rows = rows.filter(household_id=household_id)
    if only_open:
        rows = rows.filter(Q(open=True))
    rank = {"act": 0, "fix": 1, "paper": 2, "note": 3}
    return tuple(
        sorted(
            rows,
            key=lambda row: (rank[row.severity], -row.dollars_cents, row.code, row.key),
        )
    )


def _in_force(household_id: UUID) -> QuerySet[HouseholdMonth]:
    return HouseholdMonth.objects.filter(household_id=household_id, state="done")
