"""Starting a firm, and the people who work in it."""

from __future__ import annotations

import uuid
import zoneinfo
from collections.abc import Iterable
from uuid import UUID

from django.db import IntegrityError, transaction

from config import audit
from config.database import firm_scope
from config.models import User
from config.problems import BadInput, Problem
from planning.access import Access
from planning.models import ClientAccess, Delegation, Firm, Household, Membership
from planning.models.firm import ROLES


def create_firm(*, name: str, timezone: str = "America/Toronto", channel: str = "command") -> Firm:
    """Start a firm. Raises BadInput when the name is taken or the time zone unknown."""
    problems: list[Problem] = []
    if not name.strip():
        problems.append(Problem("firm", "name", "a firm needs a name", "Give one"))
    if timezone not in zoneinfo.available_timezones():
        problems.append(
            Problem("firm", "timezone", f"{timezone!r} is not a time zone", "Use America/Toronto")
        )
    if problems:
        raise BadInput(problems)
    firm_id = uuid.uuid4()
    try:
        with firm_scope(firm_id), transaction.atomic():
            firm = Firm.objects.create(id=firm_id, name=name.strip(), timezone=timezone)
            who = Access.system(firm_id, "firm started", channel)
            audit.record(who, "firm.create", object_type="firm", object_id=firm_id)
    except IntegrityError as taken:
        problem = Problem("firm", "name", f"there is a firm {name!r} already", "Choose another")
        raise BadInput([problem]) from taken
    return firm


def add_person(
    *,
    access: Access,
    email: str,
    role: str,
    name: str = "",
    password: str | None = None,
    language: str = "en",
    acts_for: Iterable[Membership] = (),
    households: Iterable[Household] = (),
) -> Membership:
    """Give a person a part in the firm; the user is made if the address is new.

    `acts_for` names the advisors of an assistant, `households` the households of
    a client. Calling it again changes nothing. Raises BadInput for an unknown role or
    for a person who already has another role here.
    """
    access.require("people.manage")
    if role not in ROLES:
        raise BadInput([Problem("person", "role", f"{role!r} is no role", f"Use {ROLES}")])
    with access.opened(), transaction.atomic():
        user = User.objects.filter(email__iexact=email.strip()).first()
        if user is None:
            user = User.objects.create_user(email, password, name=name, language=language)
        member, created = Membership.objects.get_or_create(
            firm_id=access.firm_id, user=user, defaults={"role": role}
        )
        if member.role != role:
            message = f"{email} is already {member.role} of this firm"
            raise BadInput([Problem("person", "role", message, "Use another address")])
        _connect(access.firm_id, member, acts_for, households)
        if created:
            adopted = _adopt_households(access.firm_id, member, user.email)
            audit.record(
                access,
                "person.add",
                object_type="membership",
                object_id=member.pk,
                detail={"role": role, "households": adopted},
            )
    return member


def _connect(
    firm_id: UUID,
    member: Membership,
    acts_for: Iterable[Membership],
    households: Iterable[Household],
) -> None:
    for advisor in acts_for:
        Delegation.objects.get_or_create(firm_id=firm_id, assistant=member, advisor=advisor)
    for household in households:
        ClientAccess.objects.get_or_create(firm_id=firm_id, membership=member, household=household)


def _adopt_households(firm_id: UUID, member: Membership, email: str) -> int:
    """Households whose file named this advisor before they joined are theirs from now on."""
    if member.role in ("client", "accountant"):
        return 0
    rows = Household.objects.filter(firm_id=firm_id, advisor__isnull=True)
    return rows.filter(advisor_email__iexact=email).update(advisor=member)
