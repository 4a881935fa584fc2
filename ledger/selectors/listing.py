"""Rows in view, for lists that are read page by page."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from ledger.models import EvidencePaper, Finding, FindingEvent, HouseholdMonth, Job, Statement
from planning.access import Access, NotVisibleError
from planning.models import Household


def households_in_view(access: Access, asked: dict[str, Any]) -> QuerySet[Household]:
    """Households in view, by province, advisor's address or a part of reference or name."""
    access.require("household.view")
    rows = access.households().select_related("advisor__user")
    if "province" in asked:
        rows = rows.filter(province=asked["province"])
    if "advisor" in asked:
        rows = rows.filter(advisor__user__email__iexact=asked["advisor"])
    if "q" in asked:
        rows = rows.filter(Q(ref__icontains=asked["q"]) | Q(name__icontains=asked["q"]))
    return rows


def statements_of(access: Access, household: Household) -> QuerySet[Statement]:
    """The statements in force of a household in view."""
    access.require("evidence.view")
    found = Statement.objects.filter(household=household).current()
    return (
        access.scope(found).select_related("account", "source_file").defer("source_file__content")
    )


def papers_of(access: Access, household: Household) -> QuerySet[EvidencePaper]:
    """The papers in force of a household in view, without their bytes."""
    access.require("evidence.view")
    found = EvidencePaper.objects.filter(household=household).current()
    return access.scope(found).select_related("content").defer("content__content")


def months_of(access: Access, household: Household) -> QuerySet[HouseholdMonth]:
    """The months of a household in view, each in its newest version, without results."""
    access.require("month.view")
    found = HouseholdMonth.objects.filter(household=household).exclude(state="superseded")
    return access.scope(found).defer("result")


def findings_in_view(access: Access, asked: dict[str, Any]) -> QuerySet[Finding]:
    """Findings of the households in view, by household, code, severity, state or being open."""
    access.require("finding.view")
    rows = access.scope(Finding.objects.all()).select_related("household", "assignee__user")
    if "household" in asked:
        rows = rows.filter(household__ref=asked["household"])
    return rows.filter(
        **{name: asked[name] for name in ("code", "severity", "state", "open") if name in asked}
    )


def finding_in_view(access: Access, finding_id: UUID) -> tuple[Finding, list[FindingEvent]]:
    """A finding with what happened to it, the newest last. Raises NotVisibleError."""
    found = findings_in_view(access, {}).filter(pk=finding_id).first()
    if found is None:
        raise NotVisibleError("no such finding")
    events = access.scope(FindingEvent.objects.filter(finding=found))
    return found, list(events.select_related("by").order_by("number"))


def jobs_in_view(access: Access) -> QuerySet[Job]:
    """The firm's background work."""
    access.require("job.view")
    return access.scope(Job.objects.all())
