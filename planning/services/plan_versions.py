"""Keeping a changed plan as a new version. Older versions stay as they are."""

from __future__ import annotations

from dataclasses import dataclass, replace
from uuid import UUID

from django.db import transaction

from config import audit
from config.problems import BadInput, Problem
from planning import mapping
from planning import models as rows
from planning.access import Access
from planning.core.plan import run_plan
from planning.core.types import Plan

LONGEST_REASON = 500


@dataclass(frozen=True, slots=True)
class SavedPlan:
    """The version in force after saving; `written` is False when it was so already."""

    household_id: UUID
    number: int
    written: bool


class NotTheNewestError(BadInput):
    """Somebody else saved a version since the one this change rests on."""


def save_plan(
    *, access: Access, ref: str | UUID, plan: Plan, reason: str, based_on: int
) -> SavedPlan:
    """Save `plan` as the household's next version, in force from now on.

    `based_on` is the number of the version that was changed (0 for none). The
    plan of the newest version saved again is that version. Raises
    NotTheNewestError when another version came in between, and BadInput for
    a missing reason, a plan that cannot be written as a file, or one that
    cannot run; nothing is written then. The caller marks the closes that rest
    on the plan.
    """
    access.require("plan.edit")
    with access.opened(), transaction.atomic():
        household = access.household(ref, lock=True)
        newest = mapping.in_force(rows.PlanVersion.objects.filter(household=household), None)
        text = mapping.plan_text(plan)
        if newest is not None and _same(newest.inputs, plan):
            return SavedPlan(household.pk, newest.number, written=False)
        number = newest.number if newest is not None else 0
        _check(household, plan, text, reason, based_on, number)
        version = rows.PlanVersion.objects.create(
            firm_id=access.firm_id,
            household=household,
            number=number + 1,
            inputs=text,
            digest=mapping.digest_of_text(text),
            reason=reason.strip(),
            by_id=access.user_id,
        )
        audit.record(
            access,
            "plan.save",
            object_type="household",
            object_id=household.pk,
            detail={
                "number": version.number,
                "based_on": based_on,
                "reason": version.reason,
                "digest": version.digest,
            },
        )
        return SavedPlan(household.pk, version.number, written=True)


def _same(inputs: str, plan: Plan) -> bool:
    """Whether a stored text says this plan; the order of opening balances has no meaning."""
    if not inputs:
        return False
    held = mapping.plan_from_text(inputs)
    return replace(held, opening=tuple(sorted(held.opening))) == replace(
        plan, opening=tuple(sorted(plan.opening))
    )


def _check(
    household: rows.Household, plan: Plan, text: str, reason: str, based_on: int, newest: int
) -> None:
    if based_on != newest:
        message = f"version {newest} was saved since version {based_on}, on which this one rests"
        raise NotTheNewestError(
            [Problem(household.ref, "plan", message, "Look at the newest version and try again")]
        )
    problems: list[Problem] = []
    if not reason.strip():
        problems.append(
            Problem(household.ref, "reason", "a new version needs a reason", "Say why it changes")
        )
    if len(reason.strip()) > LONGEST_REASON:
        message = f"the reason is longer than {LONGEST_REASON} characters"
        problems.append(Problem(household.ref, "reason", message, "Shorten it"))
    if problems:
        raise BadInput(problems)
    mapping.plan_from_text(text)
    run_plan(replace(mapping.profile_value(household), plan=plan), file=household.ref)
