"""One act on several households chosen from the work list. All are in view, or nothing is done."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from uuid import UUID

from config import audit
from ledger.models import Finding
from ledger.services import findings
from ledger.services.closing import facts, scheduling, sweeping
from planning.access import Access, NotVisibleError

MOST_HOUSEHOLDS = 50


def see_households(*, access: Access, household_ids: Iterable[UUID]) -> int:
    """Mark every open finding of the households seen; how many were not before."""
    return _each_finding(
        access,
        household_ids,
        lambda ids: findings.mark_seen_all(access=access, finding_ids=ids),
    )


def assign_households(
    *, access: Access, household_ids: Iterable[UUID], member_id: UUID | None
) -> int:
    """Give every finding of the households that is worked on to one person; how many moved.

    Raises ValueError for somebody who cannot see them all.
    """
    return _each_finding(
        access,
        household_ids,
        lambda ids: findings.assign_all(access=access, finding_ids=ids, member_id=member_id),
    )


def ask_closes(*, access: Access, household_ids: Iterable[UUID]) -> int:
    """Put every month of the households that is over to the workers; how many households.

    Months that are closed and rest on the facts of today stay as they are. Asking twice
    makes no second row. Households without a statement have nothing to close.
    """
    access.require("month.close")
    asked = 0
    with access.opened():
        for household_id in _in_view(access, household_ids):
            books = facts.coverage(household_id)
            for month in books.months_over():
                scheduling.schedule_month(
                    firm_id=access.firm_id, month=month, books=books, only=household_id
                )
            sweeping.hint_due(firm_id=access.firm_id, household_id=household_id)
            if books.households:
                asked += 1
                audit.record(
                    access,
                    "close.asked",
                    object_type="household",
                    object_id=household_id,
                    detail={},
                )
    return asked


def _each_finding(
    access: Access, household_ids: Iterable[UUID], act: Callable[[list[UUID]], int]
) -> int:
    access.require("finding.work")
    with access.opened():
        chosen = _in_view(access, household_ids)
        rows = Finding.objects.filter(
            firm_id=access.firm_id, household_id__in=chosen, open=True
        ).exclude(state="accepted")
        ids = list(rows.order_by("pk").values_list("pk", flat=True))
        size = findings.MOST_AT_ONCE
        return sum(act(ids[at : at + size]) for at in range(0, len(ids), size))


def _in_view(access: Access, household_ids: Iterable[UUID]) -> list[UUID]:
    wanted = set(household_ids)
    if len(wanted) > MOST_HOUSEHOLDS:
        raise ValueError(f"At most {MOST_HOUSEHOLDS} households at once")
    rows = access.households().filter(pk__in=wanted).order_by("ref")
    found = list(rows.values_list("pk", flat=True))
    if len(found) != len(wanted):
        raise NotVisibleError("no such household")
    return found
