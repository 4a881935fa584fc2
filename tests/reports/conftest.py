"""A small book in two firms, closed for a quarter, and the people who look at it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import pytest
from django.test import Client

from config.database import firm_scope
from config.models import User
from ledger.services.closing import asking
from ledger.services.households import load_households
from planning.access import Access
from planning.models import ClientAccess, Delegation, Firm, Household, Membership
from tests.reports import sample

ADVISOR = "iona.marsh@fernhollow.example"
CANARY = "Zanthoxylum Quokka"
CANARY_REF = "HH-9137-CANARY"


@dataclass(frozen=True)
class Book:
    """Two firms; `people` by role sign in to the first, "stranger" to the second."""

    firm_id: Any
    other_id: Any
    people: dict[str, User]

    def access(self) -> Access:
        """The system's access to the first firm."""
        return Access.system(self.firm_id, "test")

    def signed_in(self, role: str) -> Client:
        """A browser with somebody of this role signed in."""
        client = Client()
        client.force_login(self.people[role])
        return client


@pytest.fixture
def book(db: None) -> Book:
    """Heron Quay closed for July to September 2026, and another firm's household."""
    return make_book()


@pytest.fixture
def committed_book(request: pytest.FixtureRequest) -> Book:
    """The same, committed, for tests with several workers; they mark their databases."""
    request.getfixturevalue("transactional_db")
    return make_book()


def make_book() -> Book:
    """Load and close both firms' households."""
    firm, people = make_firm("Fernhollow Advisory", ("principal", "advisor", "assistant", "client"))
    other, strangers = make_firm("Quillback Wealth", ("principal",))
    people["stranger"] = strangers["principal"]
    people["nobody"] = User.objects.create_user("no.firm@elsewhere.example", "x" * 14)
    load(firm, sample.file())
    canary = sample.file()
    canary["household"] |= {"ref": CANARY_REF, "name": CANARY}
    load(other, canary)
    for name in ("Fernhollow Advisory", "Quillback Wealth"):
        for work in asking.plan_work(month="2026-09", first="2026-07", firm=name, household=None):
            asking.close_here(work)
    with firm_scope(firm):
        member = {one.role: one for one in Membership.objects.all()}
        household = Household.objects.get(ref=sample.REF)
        ClientAccess.objects.create(firm_id=firm, membership=member["client"], household=household)
        Delegation.objects.create(
            firm_id=firm, assistant=member["assistant"], advisor=member["advisor"]
        )
    return Book(firm, other, people)


def make_firm(name: str, roles: tuple[str, ...]) -> tuple[Any, dict[str, User]]:
    """A firm with one person a role; their logins by role."""
    firm = Firm(name=name)
    people: dict[str, User] = {}
    with firm_scope(firm.pk):
        firm.save(force_insert=True)
        for role in roles:
            mail = (
                ADVISOR
                if role == "advisor"
                else f"{role}@{name.split(maxsplit=1)[0].lower()}.example"
            )
            people[role] = User.objects.create_user(mail, "correct horse battery")
            Membership.objects.create(firm_id=firm.pk, user=people[role], role=role)
    return firm.pk, people


def load(firm: Any, file: dict[str, Any]) -> None:
    """Load a household file into a firm's book."""
    content = json.dumps(file).encode()
    with firm_scope(firm):
        load_households(
            access=Access.system(firm, "test"),
            files=[(f"{file['household']['ref']}.json", content)],
        )
