"""Acceptances end: after their last day the finding is on the list again."""

from __future__ import annotations

from uuid import UUID

from django.db.models import Max

from config import audit
from ledger.models import Finding, FindingEvent
from ledger.services.closing import facts
from planning.access import Access


def put_back_expired(*, firm_id: UUID, household_id: UUID | None = None) -> int:
    """Put back the findings whose acceptance ended before the firm's date; how many.

    Of one household, or of the firm in scope. Two copies at once: the second
    waits for the first and then finds nothing left to do.
    """
    over = Finding.objects.filter(state="accepted", accepted_until__lt=facts.firm_today())
    if household_id is not None:
        over = over.filter(household_id=household_id)
    rows = list(over.select_for_update(no_key=True).order_by("pk"))
    if not rows:
        return 0
    ids = [row.pk for row in rows]
    numbered = FindingEvent.objects.filter(finding_id__in=ids).values_list("finding_id")
    last = dict(numbered.annotate(Max("number")))
    FindingEvent.objects.bulk_create(
        FindingEvent(
            firm_id=firm_id,
            finding=row,
            number=last.get(row.pk, 0) + 1,
            kind="expired",
            dollars_cents=row.dollars_cents,
            severity=row.severity,
            until=row.accepted_until,
        )
        for row in rows
    )
    Finding.objects.filter(pk__in=ids).update(state="open", accepted_until=None)
    who = Access.system(firm_id, "acceptance ran out", channel="worker")
    for row in rows:
        audit.record(
            who,
            "finding.expired",
            object_type="household",
            object_id=row.household_id,
            detail={"code": row.code, "key": row.key, "until": f"{row.accepted_until}"},
        )
    return len(rows)
