"""Closing months as a person or their program asks: rows at once, the work by workers."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied

from config import audit
from ledger.services.closing.asking import FirmAnswer, answer, plan_work, send
from planning.access import Access


def request_close(
    *, access: Access, month: str, first: str | None = None, ref: str | None = None
) -> FirmAnswer:
    """Put the closes of `first` to `month` to work, of one household or of the whole firm.

    Asking again makes no second close. Without a household only for who sees
    all of them. The answer is how the months stand now. Raises BadInput for
    months that are none, not over or before the books; NotVisibleError,
    PermissionDenied.
    """
    access.require("month.close")
    with access.opened():
        household = access.household(ref) if ref is not None else None
        if household is None and access.role not in ("principal", "system"):
            raise PermissionDenied("the whole firm is closed by its principal")
        (work,) = plan_work(
            month=month,
            first=first,
            firm=str(access.firm_id),
            household=household.ref if household else None,
        )
        audit.record(
            access,
            "month.ask",
            object_type="household" if household else "firm",
            object_id=household.pk if household else access.firm_id,
            detail={"month": month, "first": first or month},
        )
        send(work)
        return answer(work)
