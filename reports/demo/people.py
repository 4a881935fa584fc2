"""The demo's two firms and the people who sign in to them.

Passwords are not written anywhere: they follow from this installation's secret
key, so that the same installation prints the same ones again.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
from dataclasses import dataclass
from uuid import UUID

from django.conf import settings

from planning.access import Access
from planning.models import Membership
from planning.selectors.firms import firms
from planning.services.firms import add_person, create_firm

FIRM = "Larkspur Harbour Planning"
OTHER_FIRM = "Quillonmere Advisory"


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


def prepare_firm(name: str, people: tuple[Login, ...]) -> UUID:
    """The firm with its people, made once by the firm's own services; returns its id."""
    known = [one for one in firms() if one.name == name]
    firm = known[0] if known else create_firm(name=name)
    access = Access.system(firm.pk, "demo book")
    members: dict[str, Membership] = {}
    with access.opened():
        # Advisors first: an assistant acts for those that are there.
        for one in sorted(people, key=lambda one: one.role == "assistant"):
            helped = [members[each.email] for each in people if each.email in members]
            advisors = [each for each in helped if each.role == "advisor"]
            members[one.email] = add_person(
                access=access,
                email=one.email,
                role=one.role,
                name=one.name,
                password=password_of(one.email),
                language=one.language,
                acts_for=advisors if one.role == "assistant" else (),
            )
    return UUID(str(firm.pk))


def open_client_page(firm_id: UUID, ref: str) -> None:
    """Let the demo's client see their own household."""
    access = Access.system(firm_id, "demo book")
    (client,) = (one for one in PEOPLE if one.role == "client")
    with access.opened():
        add_person(
            access=access,
            email=client.email,
            role=client.role,
            households=[access.household(ref)],
        )
