"""Asking somebody to join the firm, and their joining.

The link names firm and invitation and carries a token of 256 random bits, of
which the database keeps the digest. It opens nothing but the page on which the
person joins, for 72 hours and once.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Iterable
from datetime import datetime, timedelta
from hashlib import sha256
from uuid import UUID

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import IntegrityError, connection, transaction
from django.db.models import QuerySet

from config import audit
from config.models import User
from config.problems import BadInput, Problem
from planning.access import Access, NotVisibleError
from planning.models import Firm, Household, Invitation, InvitationPart, Membership
from planning.models.firm import ROLES
from planning.services.firms import add_person

LIFETIME = timedelta(hours=72)
LANGUAGES = ("en", "fr")


def database_now() -> datetime:
    """The database's clock."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        now: datetime = cursor.fetchone()[0]
    return now


def digest_of(token: str) -> str:
    """What is kept of a token. It holds 256 random bits, so a plain digest is enough."""
    return sha256(token.encode()).hexdigest()


def invite(
    *,
    access: Access,
    email: str,
    role: str,
    name: str = "",
    language: str = "en",
    acts_for: Iterable[UUID] = (),
    households: Iterable[str] = (),
) -> tuple[Invitation, str]:
    """Ask an address to join; the invitation and the link's token, which is never shown again.

    `acts_for` names the advisors (memberships) of an assistant, `households` the
    references of a client's households. Whether the address has a login with
    another firm makes no difference. Raises BadInput.
    """
    access.require("people.manage")
    email, name = email.strip().lower(), name.strip()
    advisors, refs = tuple(acts_for), tuple(households)
    problems = _faults(email, role, name, language, (len(advisors), len(refs)))
    if problems:
        raise BadInput(problems)
    token = secrets.token_urlsafe(32)
    try:
        with access.opened(), transaction.atomic():
            _refuse_member(access, email)
            now = database_now()
            _open(access).filter(email__iexact=email, expires_at__lte=now).update(revoked_at=now)
            row = Invitation.objects.create(
                firm_id=access.firm_id,
                email=email,
                role=role,
                name=name,
                language=language,
                token_sha256=digest_of(token),
                expires_at=now + LIFETIME,
                by_id=access.user_id,
            )
            _add_parts(access, row, advisors, refs)
            _note(access, "invitation.send", row, {"role": role})
    except IntegrityError as taken:
        raise BadInput([_problem("email", "open", "Send it again, or revoke it")]) from taken
    return row, token


def _faults(
    email: str, role: str, name: str, language: str, parts: tuple[int, int]
) -> list[Problem]:
    problems: list[Problem] = []
    try:
        validate_email(email)
    except ValidationError:
        problems.append(_problem("email", "no address", "Give an e-mail address"))
    if role not in ROLES:
        problems.append(_problem("role", "no role", f"Use one of {', '.join(ROLES)}"))
    if len(name) > 200:
        problems.append(_problem("name", "too long", "Use at most 200 letters"))
    if language not in LANGUAGES:
        problems.append(_problem("language", "no language here", "Choose en or fr"))
    if role == "assistant" and not parts[0]:
        problems.append(_problem("acts_for", "missing", "Name the advisors"))
    if role == "client" and not parts[1]:
        problems.append(_problem("households", "missing", "Name the households"))
    return problems


def _problem(where: str, message: str, remedy: str) -> Problem:
    return Problem("invitation", where, message, remedy)


def _open(access: Access) -> QuerySet[Invitation]:
    return Invitation.objects.filter(
        firm_id=access.firm_id, accepted_at__isnull=True, revoked_at__isnull=True
    )


def _refuse_member(access: Access, email: str) -> None:
    member = Membership.objects.filter(firm_id=access.firm_id, user__email__iexact=email).first()
    if member is not None:
        remedy = "Nothing to do" if member.active else "Switch their access on again"
        raise BadInput([_problem("email", "member", remedy)])


def _add_parts(
    access: Access, row: Invitation, advisors: tuple[UUID, ...], refs: tuple[str, ...]
) -> None:
    if row.role == "assistant":
        for member in advisors_named(access, advisors):
            InvitationPart.objects.create(firm_id=access.firm_id, invitation=row, advisor=member)
    if row.role == "client":
        for household in households_named(access, refs):
            InvitationPart.objects.create(
                firm_id=access.firm_id, invitation=row, household=household
            )


def advisors_named(access: Access, ids: Iterable[UUID]) -> list[Membership]:
    """The firm's active principals and advisors of these ids. Raises BadInput for any other."""
    wanted = set(ids)
    rows = Membership.objects.filter(
        firm_id=access.firm_id, pk__in=wanted, active=True, role__in=("principal", "advisor")
    )
    found = list(rows.order_by("recorded_at", "pk"))
    if len(found) != len(wanted):
        raise BadInput([_problem("acts_for", "no such advisor", "Choose from the list")])
    return found


def households_named(access: Access, refs: Iterable[str]) -> list[Household]:
    """The households in view of these references. Raises BadInput for any other."""
    found = []
    for ref in dict.fromkeys(refs):
        try:
            found.append(access.household(ref))
        except NotVisibleError as absent:
            problem = _problem("households", "no such household", "Choose from the list")
            raise BadInput([problem]) from absent
    return found


def _note(access: Access, action: str, row: Invitation, detail: dict[str, object]) -> None:
    audit.record(access, action, object_type="invitation", object_id=row.pk, detail=detail)


def _locked(access: Access, invitation_id: UUID) -> Invitation:
    row = (
        Invitation.objects.select_for_update()
        .filter(firm_id=access.firm_id, pk=invitation_id)
        .first()
    )
    if row is None:
        raise NotVisibleError("no such invitation")
    return row


def revoke(*, access: Access, invitation_id: UUID) -> None:
    """End an open invitation: its link stops working at once. A second time changes nothing."""
    access.require("people.manage")
    with access.opened():
        row = _locked(access, invitation_id)
        if row.accepted_at is None and row.revoked_at is None:
            row.revoked_at = database_now()
            row.save(update_fields=["revoked_at"])
            _note(access, "invitation.revoke", row, {})


def resend(*, access: Access, invitation_id: UUID) -> tuple[Invitation, str]:
    """Make a new link for 72 hours from now; the earlier one stops working. Raises BadInput."""
    access.require("people.manage")
    token = secrets.token_urlsafe(32)
    with access.opened():
        row = _locked(access, invitation_id)
        if row.accepted_at is not None or row.revoked_at is not None:
            raise BadInput([_problem("invitation", "ended", "Invite the person anew")])
        row.token_sha256 = digest_of(token)
        row.generation += 1
        row.expires_at = database_now() + LIFETIME
        row.save(update_fields=["token_sha256", "generation", "expires_at"])
        _note(access, "invitation.resend", row, {"generation": row.generation})
    return row, token


def find(*, firm_id: UUID, invitation_id: UUID, token: str, lock: bool = False) -> Invitation:
    """The open invitation of a link, in its firm's scope, which the caller has opened.

    Raises NotVisibleError for a wrong token, and for an invitation that is
    unknown, accepted, revoked or too old: all the same from outside.
    """
    rows = Invitation.objects.filter(firm_id=firm_id, pk=invitation_id)
    row = (rows.select_for_update() if lock else rows).first()
    held = row.token_sha256 if row else digest_of("")
    same = hmac.compare_digest(held, digest_of(token))
    if row is None or not same or row.accepted_at or row.revoked_at:
        raise NotVisibleError("no such invitation")
    if row.expires_at <= database_now():
        raise NotVisibleError("no such invitation")
    return row


def firm_of(invitation: Invitation) -> str:
    """The name of the firm that invites. Within that firm's scope."""
    return Firm.objects.get(pk=invitation.firm_id).name


def login_of(invitation: Invitation) -> User | None:
    """The login that the invited address has already, with a password of its own."""
    user = User.objects.filter(email__iexact=invitation.email).first()
    return user if user is not None and user.has_usable_password() else None


def accept(
    *,
    firm_id: UUID,
    invitation_id: UUID,
    token: str,
    user: User | None = None,
    name: str = "",
    language: str = "en",
    password: str = "",
) -> Membership:
    """Join the firm: as the signed-in `user` of that address, or with a new login.

    Once: of two at a time one joins, the other finds no invitation. Raises
    NotVisibleError, or BadInput for a weak password, a missing name, or an address
    that has a login and must sign in first.
    """
    access = Access.system(firm_id, "invitation accepted", "desk")
    with access.opened():
        row = find(firm_id=firm_id, invitation_id=invitation_id, token=token, lock=True)
        known = login_of(row)
        if known is not None:
            if user is None or user.pk != known.pk or not user.is_active:
                raise BadInput([_problem("email", "sign in", "Sign in as this address first")])
        else:
            _judge_password(row, name, language, password)
        parts = list(row.parts.select_related("advisor", "household"))
        try:
            with transaction.atomic():
                member = add_person(
                    access=access,
                    email=row.email,
                    role=row.role,
                    name=name.strip(),
                    language=language,
                    password=password or None,
                    acts_for=[one.advisor for one in parts if one.advisor],
                    households=[one.household for one in parts if one.household],
                )
        except IntegrityError as meanwhile:
            # The same address got a login elsewhere a moment ago.
            problem = _problem("email", "sign in", "Sign in as this address first")
            raise BadInput([problem]) from meanwhile
        if known is None and not member.user.has_usable_password():
            member.user.set_password(password)
            member.user.name, member.user.language = name.strip(), language
            member.user.save(update_fields=["password", "name", "language"])
        row.accepted_at = database_now()
        row.save(update_fields=["accepted_at"])
        _note(access, "invitation.accept", row, {"membership": str(member.pk)})
    return member


def _judge_password(row: Invitation, name: str, language: str, password: str) -> None:
    problems: list[Problem] = []
    if not 0 < len(name.strip()) <= 200:
        problems.append(_problem("name", "missing or too long", "Give your name"))
    if language not in LANGUAGES:
        problems.append(_problem("language", "no language here", "Choose en or fr"))
    if len(password) > 128:
        problems.append(_problem("password", "too long", "Use at most 128 letters"))
    try:
        validate_password(password, User(email=row.email, name=name))
    except ValidationError as weak:
        problems += [_problem("password", text, "Choose another") for text in weak.messages]
    if problems:
        raise BadInput(problems)
