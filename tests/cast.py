"""One cast for every test that asks who may see what.

A firm with its owner (principal), an advisor with a book of one household, a
colleague with another, the advisor's assistant, a client of the advisor's
household and an accountant; and a stranger, principal of another firm with a
household under the very same reference. People and households come through the
real services.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from config.models import User
from ledger.services.households import load_households
from planning.access import Access
from planning.models import Firm, Household, Membership
from planning.services.firms import add_person, create_firm

SAMPLES = Path(__file__).resolve().parent / "samples"
PASSWORD = "a towpath runs beside the water"


@dataclass(frozen=True)
class Cast:
    """Everybody, and the households they have to do with."""

    firm: Firm
    other_firm: Firm
    owner: User
    advisor: User
    colleague: User
    assistant: User
    client: User
    accountant: User
    stranger: User
    household: Household
    colleagues_household: Household
    strangers_household: Household

    def access(self, who: str) -> Access:
        """The access of one of the cast by name."""
        found = Access.for_user(getattr(self, who))
        assert found is not None
        return found

    @property
    def system(self) -> Access:
        """The firm's own access, as commands have it."""
        return Access.system(self.firm.pk, "test")


def household_file(ref: str, advisor: str | None, sample: str = "plan-only", **head: Any) -> bytes:
    """A sample household under another reference and advisor."""
    data = json.loads((SAMPLES / f"{sample}.json").read_text("utf-8"))
    data["household"] |= {"ref": ref, "advisor": advisor, **head}
    return json.dumps(data).encode()


def load(access: Access, content: bytes) -> Household:
    """Load one household file and give its row."""
    (loaded,) = load_households(access=access, files=[("household.json", content)])
    with access.opened():
        return access.household(loaded.household_id)


def _person(access: Access, name: str, role: str, **more: Any) -> Membership:
    return add_person(
        access=access,
        email=f"{name}@lockkeepers.example",
        role=role,
        name=name.title(),
        password=PASSWORD,
        **more,
    )


def make_cast(sample: str = "plan-only") -> Cast:
    """The whole cast, in the database."""
    firm, other = create_firm(name="Lockkeepers"), create_firm(name="Bargees")
    ours, theirs = Access.system(firm.pk, "cast"), Access.system(other.pk, "cast")
    people = {
        "owner": _person(ours, "owner", "principal"),
        "advisor": _person(ours, "advisor", "advisor"),
        "colleague": _person(ours, "colleague", "advisor"),
        "accountant": _person(ours, "accountant", "accountant"),
        "stranger": _person(theirs, "stranger", "principal"),
    }
    household = load(ours, household_file("HH-1", "advisor@lockkeepers.example", sample))
    colleagues = load(ours, household_file("HH-2", "colleague@lockkeepers.example", sample))
    strangers = load(theirs, household_file("HH-1", None, sample))
    people["assistant"] = _person(ours, "assistant", "assistant", acts_for=[people["advisor"]])
    people["client"] = _person(ours, "client", "client", households=[household])
    return Cast(
        firm=firm,
        other_firm=other,
        household=household,
        colleagues_household=colleagues,
        strangers_household=strangers,
        **{name: member.user for name, member in people.items()},
    )
