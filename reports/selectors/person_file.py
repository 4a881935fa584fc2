"""Everything a firm holds about one person, gathered by what refers to them.

Every table of the firm is asked for rows that point at the person's login or
membership, or name their address. Secrets, digests of secrets and the content
of messages (which may name others) are left out; a client's households come
whole, as household files.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.apps import apps
from django.db.models import BinaryField, Model, Q

from config.database.base import FirmOwned
from config.models import User
from config.problems import BadInput, Problem
from planning.access import Access
from planning.models import AccountantGrant, ClientAccess, Membership

ADDRESS_FIELDS = ("email", "recipient", "advisor_email", "actor")
LEFT_OUT = frozenset(
    {"token_sha256", "code_digest", "secret_check", "content", "digest", "previous", "snapshot"}
)


def person_file(access: Access, email: str) -> dict[str, Any]:
    """The person's login, and by table every row about them. Raises BadInput for an unknown one."""
    access.require("people.manage")
    email = email.strip().lower()
    user = User.objects.filter(email__iexact=email).first()
    members = Membership.objects.filter(firm_id=access.firm_id, user=user)
    member = members.first() if user else None
    tables = {
        model._meta.label: rows
        for model in _tables()
        if (rows := _rows(access, model, email, user if member else None, member))
    }
    if not tables:
        message = f"the firm holds nothing about {email!r}"
        raise BadInput([Problem("export_person", "EMAIL", message, "Check the address")])
    held: dict[str, Any] = {"email": email, "login": None, "households": [], "tables": tables}
    if user is not None and member is not None:
        held["login"] = {
            "name": user.name,
            "language": user.language,
            "active": user.is_active,
            "since": user.recorded_at.isoformat(),
            "last_login": user.last_login.isoformat() if user.last_login else None,
        }
        own = ClientAccess.objects.filter(membership=member).order_by("household__ref")
        held["households"] = list(own.values_list("household__ref", flat=True))
    return held


def _tables() -> Iterator[type[Model]]:
    for model in sorted(apps.get_models(), key=lambda one: one._meta.label):
        if issubclass(model, FirmOwned):
            yield model


def _rows(
    access: Access, model: type[Model], email: str, user: User | None, member: Membership | None
) -> list[dict[str, Any]]:
    wanted = Q(pk__in=[])
    for field in model._meta.local_fields:
        if field.name in ADDRESS_FIELDS:
            wanted |= Q(**{f"{field.name}__iexact": email})
        elif field.related_model is AccountantGrant:
            wanted |= Q(**{f"{field.name}__email__iexact": email})
        elif user is not None and field.related_model is User:
            wanted |= Q(**{field.name: user})
        elif member is not None and field.related_model is Membership:
            wanted |= Q(**{field.name: member})
    if member is not None and model is Membership:
        wanted |= Q(pk=member.pk)
    names = [
        field.attname
        for field in model._meta.local_fields
        if field.name not in LEFT_OUT and not isinstance(field, BinaryField)
    ]
    rows = access.scope(model.objects.filter(wanted)).order_by("pk").values(*names)
    return list(rows)
