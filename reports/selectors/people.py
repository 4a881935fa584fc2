"""The pages about people: who is in the firm, one of them, and what is shared with accountants."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from allauth.mfa.models import Authenticator
from django.db.models.functions import Now

from config import outbox
from config.models import AuditEvent
from planning.access import Access
from planning.models import (
    AccountantGrant,
    ClientAccess,
    Delegation,
    Household,
    Invitation,
    Membership,
)
from planning.models.firm import ROLES
from planning.services.people import member_of
from reports.models import Packet
from reports.people_words import ROLE_WORDS

FACTORS = (Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN)


def people_page(access: Access) -> dict[str, Any]:
    """Everybody in the firm with role, standing and last sign-in; open invitations; choices."""
    access.require("people.manage")
    members = list(
        access.scope(Membership.objects.select_related("user")).order_by("-active", "user__email")
    )
    users = [one.user_id for one in members]
    strong = set(
        Authenticator.objects.filter(user_id__in=users, type__in=FACTORS).values_list(
            "user_id", flat=True
        )
    )
    seen = _last_sign_ins(access)
    held = _households_of(access)
    return {
        "people": [
            {
                "id": one.pk,
                "name": one.user.get_full_name(),
                "email": one.user.email,
                "role": ROLE_WORDS[one.role],
                "active": one.active and one.user.is_active,
                "second_factor": one.user_id in strong,
                "last": seen.get(one.user_id),
                "households": held.get(one.pk, []),
            }
            for one in members
        ],
        "invitations": _invitations(access),
        "mail_ready": "mail" in outbox.channels(),
    } | _choices(access)


def _invitations(access: Access) -> list[dict[str, Any]]:
    rows = access.scope(
        Invitation.objects.filter(accepted_at__isnull=True, revoked_at__isnull=True)
    )
    over = set(rows.filter(expires_at__lte=Now()).values_list("pk", flat=True))
    return [
        {"row": one, "role": ROLE_WORDS[one.role], "over": one.pk in over}
        for one in rows.order_by("email")
    ]


def _choices(access: Access) -> dict[str, Any]:
    advisors = Membership.objects.filter(
        firm_id=access.firm_id, active=True, role__in=("principal", "advisor")
    ).select_related("user")
    return {
        "roles": [(one, ROLE_WORDS[one]) for one in ROLES],
        "advisors": [
            (one.pk, one.user.get_full_name()) for one in advisors.order_by("user__email")
        ],
        "refs": list(access.households().order_by("ref").values_list("ref", "name")),
    }


def _last_sign_ins(access: Access) -> dict[UUID, Any]:
    rows = access.scope(AuditEvent.objects.filter(action="person.sign_in", by__isnull=False))
    return dict(rows.order_by("number").values_list("by_id", "at"))


def _households_of(access: Access) -> dict[UUID, list[str]]:
    """References by member: an advisor's book, a client's own."""
    found: dict[UUID, list[str]] = {}
    book = access.scope(Household.objects.filter(advisor__isnull=False))
    own = access.scope(ClientAccess.objects.all())
    for member, ref in [
        *book.order_by("ref").values_list("advisor_id", "ref"),
        *own.order_by("household__ref").values_list("membership_id", "household__ref"),
    ]:
        found.setdefault(member, []).append(ref)
    return found


def person_page(access: Access, member_id: UUID) -> dict[str, Any]:
    """One member and what may be changed about them. Raises NotVisibleError."""
    access.require("people.manage")
    member = member_of(access, member_id)
    named = Delegation.objects.filter(assistant=member).values_list("advisor_id", flat=True)
    own = ClientAccess.objects.filter(membership=member).values_list("household__ref", flat=True)
    kinds = Authenticator.objects.filter(user_id=member.user_id, type__in=FACTORS)
    return {
        "member": member,
        "name": member.user.get_full_name(),
        "email": member.user.email,
        "role": member.role,
        "role_word": ROLE_WORDS[member.role],
        "active": member.active,
        "second_factor": kinds.exists(),
        "last": _last_sign_ins(access).get(member.user_id),
        "acts_for": set(named),
        "own": set(own),
        "book": _households_of(access).get(member.pk, []) if member.role != "client" else [],
    } | _choices(access)


def grants_page(access: Access, ref: str) -> dict[str, Any]:
    """A household's grants to accountants, the newest first, and who may be granted."""
    access.require("grant.manage")
    household = access.household(ref)
    rows = access.scope(AccountantGrant.objects.filter(household=household))
    live = set(
        rows.filter(revoked_at__isnull=True, expires_at__gt=Now()).values_list("pk", flat=True)
    )
    members = Membership.objects.filter(firm_id=access.firm_id, role="accountant", active=True)
    listed = rows.select_related("membership__user").order_by("-recorded_at", "pk")
    return {
        "ref": household.ref,
        "name": household.name,
        "grants": [
            {
                "id": one.pk,
                "name": one.membership.user.get_full_name() if one.membership else one.name,
                "email": one.membership.user.email if one.membership else one.email,
                "by_link": one.membership_id is None,
                "year": one.year,
                "expires": one.expires_at,
                "uses": one.uses,
                "max_uses": one.max_uses,
                "live": one.pk in live,
            }
            for one in listed
        ],
        "accountants": [
            (one.pk, one.user.get_full_name()) for one in members.select_related("user")
        ],
    }


def shared_page(access: Access) -> dict[str, Any]:
    """What an accountant may read now: by grant the year's packets and its trace."""
    access.require("grant.own")
    shared = []
    for one in access.grants().select_related("household").order_by("household__ref", "-year"):
        packets = Packet.objects.filter(
            household_id=one.household_id, state="stored", period__startswith=f"{one.year}-"
        ).defer("pdf", "snapshot", "toolchain")
        shared.append(
            {
                "ref": one.household.ref,
                "name": one.household.name,
                "year": one.year,
                "expires": one.expires_at,
                "packets": list(packets.select_related("household").order_by("period", "version")),
            }
        )
    return {"shared": shared, "guest": access.grant_id is not None}
