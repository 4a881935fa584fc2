"""A new plan version together with what it does to the months already closed."""

from __future__ import annotations

from uuid import UUID

from django.db import transaction
from django.db.models import Min

from ledger.models import HouseholdMonth
from ledger.services.closing.staleness import mark_stale
from planning.access import Access
from planning.core.types import Plan
from planning.services.plan_versions import SavedPlan, save_plan


def keep_plan(
    *, access: Access, ref: str | UUID, plan: Plan, reason: str, based_on: int
) -> SavedPlan:
    """Save a plan as the next version and mark every closed month as resting on an older one.

    A month's digest holds the whole plan, so all of them are looked at again.
    One transaction; errors as of `save_plan`, and nothing is written then.
    """
    access.require("plan.edit")
    with access.opened(), transaction.atomic():
        saved = save_plan(access=access, ref=ref, plan=plan, reason=reason, based_on=based_on)
        if saved.written:
            months = HouseholdMonth.objects.filter(household_id=saved.household_id)
            first = months.aggregate(first=Min("month"))["first"]
            if first is not None:
                why = f"plan version {saved.number}: {reason.strip()}"
                mark_stale(household_id=saved.household_id, month=first, reason=why)
        return saved
