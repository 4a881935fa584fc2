"""What the interface for programs reads of packets, months and plans."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet

from ledger.mapping import household_value
from planning.access import Access, NotVisibleError
from planning.core.plan_outcome import Outcome
from planning.core.whatif import Change, changed
from planning.models import Household
from reports.models import Packet
from reports.selectors.plan import plan_state, played
from reports.selectors.stored import stored_report


def packets_of(access: Access, household: Household) -> QuerySet[Packet]:
    """The packets of a household in view, without their bytes; a client sees stored ones."""
    access.require("packet.view")
    rows = access.scope(Packet.objects.filter(household=household))
    if access.role == "client":
        rows = rows.filter(state="stored")
    return rows.select_related("household").defer("pdf", "snapshot", "toolchain")


def month_row(access: Access, household: Household, month: str) -> dict[str, Any]:
    """A closed month's row of the report, with whether its facts changed since.

    Raises NotVisibleError when it is not closed.
    """
    access.require("month.view")
    stored = stored_report(household.pk, household_value(household))
    plans = {one["month"]: one for one in stored.report["plan"]}
    for row in stored.report["months"]:
        if row["month"] == month:
            return dict(row) | {"plan": plans.get(month), "stale": month in stored.stale}
    raise NotVisibleError("no such month")


def what_if(access: Access, ref: str, change: Change) -> tuple[Outcome, Outcome]:
    """The plan in force and the changed one, played out. Writes nothing.

    Raises Refused with every refusal, BadInput, Http404 without a plan.
    """
    access.require("plan.view")
    state = plan_state(access, ref)
    after = changed(state.household, change)
    return played(state, state.household), played(state, after)
