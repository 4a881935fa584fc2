"""The demo's two firms and the people who sign in to them.

Passwords are not written anywhere: they follow from this installation's secret
key, so that the same installation prints the same ones again.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
from dataclasses import dataclass
from uuid import UUID, uuid5

from django.conf import settings

from config.database import firm_scope
from config.models import User
from planning.models import ClientAccess, Delegation, Firm, Household, Membership

FIRM = "Larkspur Harbour Planning"
OTHER_FIRM = "Quillonmere Advisory"
_SPACE = UUID("6b1b8a52-5f0d-4f7b-9d7b-2f8f0c8c1f44")


@dataclass(frozen=True, slots=True)
class Login:
    """A person of the demo: role, name, address and language."""

    role: str
    name: str
    email: str
    language: str = "en"


PEOPLE: tuple[Login, ...] = (
    Login("principal", "Edda Larkspur", "principal@larkspur.example"),
    Login("advisor", "Jonas Wetherby", "jonas@larkspur.example"),
    Login("advisor", "Amélie Roy", "amelie@larkspur.example", "fr"),
    Login("advisor", "Nuri Castell", "nuri@larkspur.example"),
    Login("assistant", "Pia Holm", "assistant@larkspur.example"),
    Login("client", "Wren Alder", "client@larkspur.example"),
    Login("accountant", "Lucian Grey", "accountant@larkspur.example"),
)
ADVISORS = tuple(one.email for one in PEOPLE if one.role == "advisor")
OTHER_PEOPLE: tuple[Login, ...] = (
    Login("principal", "Thessaly Quillon", "principal@quillonmere.example"),
    Login("advisor", "Barnaby Oxlade", "advisor@quillonmere.example"),
)


def password_of(email: str) -> str:
    """The demo password of an address on this installation."""
    digest = hmac.new(settings.SECRET_KEY.encode(), f"demo:{email}".encode(), hashlib.sha256)
    text = base64.b32encode(digest.digest()).decode().lower()
    return f"{text[:5]}-{text[5:10]}-{text[10:15]}"


def firm_id_of(name: str) -> UUID:
    """The demo firm's id, the same on every installation."""
    return uuid5(_SPACE, name)


def prepare_firm(name: str, people: tuple[Login, ...]) -> UUID:
    """The firm with its people, made once; returns its id."""
    firm_id = firm_id_of(name)
    with firm_scope(firm_id):
        if not Firm.objects.filter(pk=firm_id).exists():
            Firm.objects.create(pk=firm_id, name=name)
        members: dict[str, Membership] = {}
        for one in people:
            user = User.objects.filter(email=one.email).first()
            if user is None:
                user = User.objects.create_user(
                    one.email, password_of(one.email), name=one.name, language=one.language
                )
            members[one.email], _ = Membership.objects.get_or_create(
                firm_id=firm_id, user=user, defaults={"role": one.role}
            )
        for assistant in (one for one in people if one.role == "assistant"):
            for email in (one.email for one in people if one.role == "advisor"):
                Delegation.objects.get_or_create(
                    firm_id=firm_id, assistant=members[assistant.email], advisor=members[email]
                )
    return firm_id


def open_client_page(firm_id: UUID, ref: str) -> None:
    """Let the demo's client see their own household."""
    with firm_scope(firm_id):
        client = Membership.objects.get(role="client")
        household = Household.objects.get(ref=ref)
        ClientAccess.objects.get_or_create(firm_id=firm_id, membership=client, household=household)
