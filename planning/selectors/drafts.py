"""The drafts of the person asking."""

from __future__ import annotations

from planning.access import Access
from planning.models import HouseholdDraft


def my_drafts(access: Access) -> tuple[HouseholdDraft, ...]:
    """The person's own drafts whose households are in view, the latest changed first."""
    access.require("household.edit")
    rows = HouseholdDraft.objects.filter(
        firm_id=access.firm_id, member_id=access.membership_id
    ).order_by("-changed_at", "pk")
    seen = set(access.households().values_list("pk", flat=True))
    return tuple(one for one in rows if one.household_id is None or one.household_id in seen)
