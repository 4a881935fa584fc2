"""What a person does to a finding: mark it seen, accept it with a reason, put it back."""

from __future__ import annotations

from uuid import UUID

from django.db.models import Max

from config import audit
from ledger.core.finding_changes import EventKind, FindingState
from ledger.models import Finding, FindingEvent
from planning.access import Access, NotVisibleError


class SettledFindingError(Exception):
    """The finding is not open any more, so there is nothing to decide about it."""


def mark_seen(*, access: Access, finding_id: UUID) -> Finding:
    """Note that somebody looked. A finding that was seen or accepted stays as it is."""
    return _move(access, finding_id, "seen", "seen", "", only_from=("open",))


def accept(*, access: Access, finding_id: UUID, reason: str) -> Finding:
    """Accept an open finding for a reason; it leaves the list until it grows graver.

    The same acceptance twice is one. Raises ValueError without a reason,
    SettledFindingError when it is not open, NotVisibleError when it is not in
    view, PermissionDenied when the role may not.
    """
    if not reason.strip():
        raise ValueError("An acceptance needs a reason: say why the finding is left as it is")
    return _move(
        access, finding_id, "accepted", "accepted", reason.strip(), only_from=("open", "seen")
    )


def put_back(*, access: Access, finding_id: UUID) -> Finding:
    """Take an acceptance back: the finding is on the list again."""
    return _move(access, finding_id, "open", "released", "", only_from=("accepted",))


def _move(
    access: Access,
    finding_id: UUID,
    state: FindingState,
    kind: EventKind,
    reason: str,
    *,
    only_from: tuple[FindingState, ...],
) -> Finding:
    access.require("finding.accept")
    with access.opened():
        visible = access.scope(Finding.objects.filter(pk=finding_id)).exists()
        if not visible:
            raise NotVisibleError("no such finding")
        row: Finding = Finding.objects.select_for_update().get(pk=finding_id)
        if not row.open:
            raise SettledFindingError(f"{row.code} ended with {row.last_month:%Y-%m}")
        if row.state not in only_from:
            return row
        row.state = state
        row.save(update_fields=["state"])
        number = FindingEvent.objects.filter(finding=row).aggregate(last=Max("number"))["last"]
        FindingEvent.objects.create(
            firm_id=access.firm_id,
            finding=row,
            number=(number or 0) + 1,
            kind=kind,
            dollars_cents=row.dollars_cents,
            severity=row.severity,
            reason=reason,
            by_id=access.user_id,
        )
        audit.record(
            access,
            f"finding.{kind}",
            object_type="household",
            object_id=row.household_id,
            detail={"code": row.code, "key": row.key, "reason": reason},
        )
        return row
