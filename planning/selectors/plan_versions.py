"""The versions of a household's plan: the newest is in force, none is ever changed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from planning import mapping
from planning import models as rows
from planning.access import Access
from planning.core.types import Plan


@dataclass(frozen=True, slots=True)
class VersionRow:
    """One version: its number, when it was saved, by whom (empty for the system), and why."""

    number: int
    recorded_at: datetime
    by: str
    reason: str
    digest: str
    plan: Plan | None


def plan_versions(access: Access, household_id: UUID) -> tuple[VersionRow, ...]:
    """Every version of the plan of a household in view, the newest first."""
    access.require("plan.view")
    found = access.scope(rows.PlanVersion.objects.filter(household_id=household_id))
    return tuple(
        VersionRow(
            number=one.number,
            recorded_at=one.recorded_at,
            by=one.by.email if one.by else "",
            reason=one.reason,
            digest=one.digest,
            plan=mapping.plan_from_text(one.inputs) if one.inputs else None,
        )
        for one in found.select_related("by").order_by("-number")
    )
