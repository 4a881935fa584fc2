"""Changing what a person of the firm may do: a principal's acts, at once and on the record."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from allauth.usersessions.models import UserSession
from django.db import transaction

from config import audit
from config.problems import BadInput, Problem
from planning.access import Access, NotVisibleError
from planning.models import ClientAccess, Delegation, Household, Membership
from planning.models.firm import ROLES
from planning.services.invitations import advisors_named, households_named


def member_of(access: Access, member_id: UUID, *, lock: bool = False) -> Membership:
    """A member of the firm. Raises NotVisibleError."""
    rows = Membership.objects.filter(firm_id=access.firm_id, pk=member_id)
    if lock:
        rows = rows.select_for_update(no_key=True)
    found = rows.first()
    if found is None:
        raise NotVisibleError("no such member")
    return found


def set_active(*, access: Access, member_id: UUID, active: bool) -> None:
    """Switch a member's access off or on; off ends their sessions at once.

    The next request of a session that escaped finds no membership either.
    Raises BadInput for the last active principal.
    """
    access.require("people.manage")
    with access.opened(), transaction.atomic():
        _hold_principals(access)
        member = member_of(access, member_id, lock=True)
        if member.active == active:
            return
        if not active:
            _keep_a_principal(access, member)
        member.active = active
        member.save(update_fields=["active"])
        ended = 0 if active else end_sessions(member.user_id)
        _note(access, "person.on" if active else "person.off", member, {"sessions": ended})


def change_role(*, access: Access, member_id: UUID, role: str) -> None:
    """Give a member another role. What belonged to the old role alone falls away.

    Raises BadInput for an unknown role, for the last active principal, and for
    somebody who still advises households while the new role advises none.
    """
    access.require("people.manage")
    if role not in ROLES:
        raise BadInput([Problem("person", "role", f"{role!r} is no role", "Choose a role")])
    with access.opened(), transaction.atomic():
        _hold_principals(access)
        member = member_of(access, member_id, lock=True)
        if member.role == role:
            return
        before = member.role
        if role != "principal":
            _keep_a_principal(access, member)
        if role not in ("principal", "advisor"):
            _refuse_with_book(access, member)
            Delegation.objects.filter(advisor=member).delete()
        if before == "assistant":
            Delegation.objects.filter(assistant=member).delete()
        if before == "client":
            ClientAccess.objects.filter(membership=member).delete()
        member.role = role
        member.save(update_fields=["role"])
        _note(access, "person.role", member, {"from": before, "to": role})


def set_advisors(*, access: Access, member_id: UUID, advisors: Iterable[UUID]) -> None:
    """Name the advisors an assistant acts for, all of them. Raises BadInput."""
    access.require("people.manage")
    with access.opened(), transaction.atomic():
        member = _of_role(access, member_id, "assistant")
        wanted = advisors_named(access, advisors)
        Delegation.objects.filter(assistant=member).exclude(advisor__in=wanted).delete()
        for one in wanted:
            Delegation.objects.get_or_create(firm_id=access.firm_id, assistant=member, advisor=one)
        _note(access, "person.acts_for", member, {"advisors": [str(one.pk) for one in wanted]})


def set_households(*, access: Access, member_id: UUID, refs: Iterable[str]) -> None:
    """Name the households a client may see, all of them. Raises BadInput."""
    access.require("people.manage")
    with access.opened(), transaction.atomic():
        member = _of_role(access, member_id, "client")
        wanted = households_named(access, refs)
        ClientAccess.objects.filter(membership=member).exclude(household__in=wanted).delete()
        for one in wanted:
            ClientAccess.objects.get_or_create(
                firm_id=access.firm_id, membership=member, household=one
            )
        _note(access, "person.households", member, {"households": [one.ref for one in wanted]})


def assign_household(*, access: Access, ref: str, advisor_id: UUID, reason: str) -> None:
    """Give a household to another advisor, with a reason.

    The household's file says the same from then on: loading an older file moves
    it back, and that is in the trail too. Raises BadInput, NotVisibleError.
    """
    access.require("people.manage")
    reason = reason.strip()
    if not 0 < len(reason) <= 500:
        raise BadInput([Problem("household", "reason", "missing or too long", "Say why")])
    with access.opened(), transaction.atomic():
        household = access.household(ref, lock=True)
        (advisor,) = advisors_named(access, [advisor_id])
        if household.advisor_id == advisor.pk:
            return
        before = household.advisor_id
        household.advisor, household.advisor_email = advisor, advisor.user.email
        household.save(update_fields=["advisor", "advisor_email"])
        audit.record(
            access,
            "household.advisor",
            object_type="household",
            object_id=household.pk,
            detail={"from": before, "to": advisor.pk, "reason": reason},
        )


def end_sessions(user_id: UUID) -> int:
    """End every open session of a login; how many."""
    sessions = list(UserSession.objects.filter(user_id=user_id))
    for one in sessions:
        one.end()
    return len(sessions)


def _hold_principals(access: Access) -> None:
    """Let acts that could end the last principal take turns."""
    rows = Membership.objects.filter(firm_id=access.firm_id, role="principal", active=True)
    list(rows.order_by("pk").select_for_update(no_key=True).values_list("pk"))


def _keep_a_principal(access: Access, member: Membership) -> None:
    if member.role != "principal" or not member.active:
        return
    others = Membership.objects.filter(
        firm_id=access.firm_id, role="principal", active=True, user__is_active=True
    )
    if not others.exclude(pk=member.pk).exists():
        message = "the last active principal"
        raise BadInput([Problem("person", "principal", message, "Make another principal first")])


def _refuse_with_book(access: Access, member: Membership) -> None:
    count = Household.objects.filter(firm_id=access.firm_id, advisor=member).count()
    if count:
        message = f"advises {count} households"
        raise BadInput([Problem("person", "book", message, "Give them to another advisor first")])


def _of_role(access: Access, member_id: UUID, role: str) -> Membership:
    member = member_of(access, member_id, lock=True)
    if member.role != role:
        raise BadInput([Problem("person", "role", f"no {role}", "Change the role first")])
    return member


def _note(access: Access, action: str, member: Membership, detail: dict[str, Any]) -> None:
    audit.record(access, action, object_type="membership", object_id=member.pk, detail=detail)
