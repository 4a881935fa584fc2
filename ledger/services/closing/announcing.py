"""Telling the firm's own programs what a close did, within the close's transaction.

Ids and references only: no name, no amount, no code of a finding leaves this way.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from uuid import UUID

from config import webhooks
from ledger.models import FindingEvent, MonthClose
from planning.models import Household

OPENED, CLOSED, MONTH_CLOSED = "finding.opened", "finding.closed", "month.closed"
_NAMES = {
    "opened": OPENED,
    "returned": OPENED,
    "cured": CLOSED,
    "passed": CLOSED,
    "withdrawn": CLOSED,
}


def findings(
    *, firm_id: UUID, household_id: UUID, month: date, events: Sequence[FindingEvent]
) -> int:
    """Announce the findings that a close of `month` opened and closed; how many messages."""
    told = [one for one in events if one.kind in _NAMES]
    if not told or not webhooks.has_subscribers():
        return 0
    ref = Household.objects.values_list("ref", flat=True).get(pk=household_id)
    refs = {"household": ref, "household_id": str(household_id), "month": f"{month:%Y-%m}"}
    return webhooks.emit(
        firm_id,
        [
            webhooks.Event(
                _NAMES[one.kind],
                f"{one.finding_id}:{one.number}",
                refs | {"finding": str(one.finding_id)},
            )
            for one in told
        ],
    )


def month(close: MonthClose, *, state: str, number: int) -> int:
    """Announce that a firm's month is complete; `number` is that of its line in the trail."""
    refs = {"close": str(close.pk), "month": f"{close.month:%Y-%m}", "state": state}
    event = webhooks.Event(MONTH_CLOSED, f"{close.pk}:{number}", refs)
    return webhooks.emit(close.firm_id, [event])
