"""Two firms with people and households whose every word and amount is theirs alone.

People and households are made by factories that call the real services. Each
household's word stands in its reference, its name, its people's names, its
entries and its paper; its first draw is an amount no other household has.
"""

from __future__ import annotations

import json
import uuid
from dataclasses import dataclass, field
from typing import Any

import factory
from django.db import transaction

from config.models import OutboxMessage, User
from config.outbox import enqueue
from ledger.models import EvidencePaper, Finding
from ledger.services.closing import asking
from ledger.services.papers import attach_evidence
from planning.access import Access
from planning.models import Membership
from planning.models.firm import Firm
from planning.services.firms import add_person, create_firm
from reports.packets.period import read_quarter
from reports.services import notices
from reports.services.endpoints import add_endpoint
from reports.services.packets import QuarterlyRequest, draw_packet, issue_quarterly
from tests.cast import PASSWORD, load
from tests.reports import sample

MONTHS = ("2026-07", "2026-09")
OUR_FIRM, THEIR_FIRM = "Zqfernley Advisory", "Zqbargewick Wealth"
# Household by household: its word, and the dollars of its first draw.
WORDS = {
    "own": ("zqowenmere", "1317.19"),
    "colleague": ("zqcoldham", "1429.31"),
    "unassigned": ("zqundley", "1531.43"),
    "former": ("zqforthing", "1637.59"),
    "other": ("zqotterwell", "1741.61"),
    "deleted": ("zqdelamere", "1847.73"),
}
FIRM_WORDS = {"own": "zqfernley", "other": "zqbargewick"}


class PersonFactory(factory.Factory):
    """A member of a firm, by the service that adds people."""

    class Meta:
        model = Membership

    role = "advisor"
    password = PASSWORD
    word = "zqfernley"
    email = factory.LazyAttribute(lambda one: f"{one.name}@{one.word}.example")
    name = factory.Sequence("person{}".format)

    @classmethod
    def _create(cls, _model: Any, *_args: Any, word: str, **wanted: Any) -> Membership:
        shown = f"{wanted.pop('name').title()} {word.title()}"
        return add_person(name=shown, **wanted)


class HouseholdFileFactory(factory.DictFactory):
    """A household file in which every word and the first draw's amount are its own."""

    key = "own"
    advisor = None

    @classmethod
    def _create(cls, _model: Any, *_args: Any, key: str, advisor: str | None) -> bytes:
        word, amount = WORDS[key]
        whole = sample.file()
        whole["household"] |= {"ref": ref_of(key), "name": f"{word.title()} House"}
        whole["household"]["advisor"] = advisor
        whole["members"][0]["name"] = f"Avery {word.title()}"
        line = whole["statements"][0]
        line["closing"] = f"{float(amount) + 5000:.2f}"
        line["entries"][0]["amount"] = amount
        whole["uses"][0]["splits"][0]["amount"] = amount
        return json.dumps(whole).replace("line-2026", f"{word}-2026").encode()


def ref_of(key: str) -> str:
    """The reference of a household."""
    return f"HH-{WORDS[key][0]}"


def canaries_of(key: str) -> tuple[str, ...]:
    """What gives a household away, in small letters and with plain spaces."""
    word, amount = WORDS[key]
    dollars, cents = amount.split(".")
    shown = f"{dollars[0]},{dollars[1:]}.{cents}", f"{dollars[0]} {dollars[1:]},{cents}"
    return (word, amount, dollars + cents, *shown)


@dataclass
class Scene:
    """The firms, the users by principal, and the parts of addresses by object."""

    firms: dict[str, Firm] = field(default_factory=dict)
    members: dict[str, Membership] = field(default_factory=dict)
    places: dict[str, dict[str, Any]] = field(default_factory=dict)
    written: dict[str, list[str]] = field(default_factory=dict)
    users: dict[str, User] = field(default_factory=dict)


def make_scene() -> Scene:
    """Everything, by the real services. Within a transaction that is rolled back later."""
    scene = Scene()
    scene.firms = {"own": create_firm(name=OUR_FIRM), "other": create_firm(name=THEIR_FIRM)}
    ours, theirs = (Access.system(scene.firms[one].pk, "test") for one in ("own", "other"))
    _staff(scene, ours, theirs)
    by = {"own": "advisor", "former": "advisor", "colleague": "colleague"}
    for key in ("own", "colleague", "unassigned", "former", "other"):
        access = theirs if key == "other" else ours
        scene.places[key] = _household(access, key, by.get(key))
    sid = transaction.savepoint()
    scene.places["deleted"] = _household(ours, "deleted", "advisor")
    scene.places["deleted"] |= _of_firm(ours, "principal", scene)
    transaction.savepoint_rollback(sid)
    _clients(scene, ours)
    scene.places["own"] |= _of_firm(ours, "principal", scene)
    scene.places["other"] |= _of_firm(theirs, "stranger", scene)
    for firm, access in (("own", ours), ("other", theirs)):
        with access.opened():
            scene.written[firm] = list(OutboxMessage.objects.values_list("content", flat=True))
    scene.places["random"] = _nowhere(scene)
    own, other = scene.places["own"], scene.places["other"]
    foreign = {name: other[name] for name in ("packet_id", "paper_id", "entry", "draw")}
    scene.places["mixed"] = own | foreign
    scene.users = {name: one.user for name, one in scene.members.items()}
    scene.users["nobody"] = User.objects.create_user("nobody@elsewhere.example", "x" * 14)
    return scene


def _staff(scene: Scene, ours: Access, theirs: Access) -> None:
    made = scene.members
    roles = {"principal": "principal", "advisor": "advisor", "colleague": "advisor"}
    roles |= {"accountant": "accountant", "unfactored": "principal"}
    for name, role in roles.items():
        made[name] = PersonFactory(access=ours, name=name, role=role)
    made["expired"] = PersonFactory(access=ours, name="expired", role="principal")
    made["assistant"] = PersonFactory(
        access=ours, name="assistant", role="assistant", acts_for=[made["advisor"]]
    )
    made["stranger"] = PersonFactory(
        access=theirs, name="stranger", role="principal", word=FIRM_WORDS["other"]
    )


def _clients(scene: Scene, ours: Access) -> None:
    for name, key in (("client", "own"), ("second_client", "colleague"), ("former", "former")):
        with ours.opened():
            rows = [ours.household(ref_of(key))]
        scene.members[name] = PersonFactory(access=ours, name=name, role="client", households=rows)
    with ours.opened():
        Membership.objects.filter(pk=scene.members["former"].pk).update(active=False)


def _household(access: Access, key: str, advisor: str | None) -> dict[str, Any]:
    """Load a household, close its months, keep a paper, draw its packet: the parts of addresses."""
    email = f"{advisor}@{FIRM_WORDS['own']}.example" if advisor else None
    row = load(access, HouseholdFileFactory(key=key, advisor=email))
    firm = OUR_FIRM if key != "other" else THEIR_FIRM
    for work in asking.plan_work(month=MONTHS[1], first=MONTHS[0], firm=firm, household=row.ref):
        asking.close_here(work)
    entry = f"{WORDS[key][0]}-2026-08-1"
    with access.opened():
        paper = (f"{WORDS[key][0]}.txt", f"Confirmed by {WORDS[key][0]}\n".encode())
        (kept,) = attach_evidence(access=access, ref=row.ref, files=[paper], draw=entry)
        request = QuarterlyRequest(ref=row.ref, quarter=read_quarter("2026-Q3"))
        packet = issue_quarterly(access=access, request=request)
        if key != "deleted":
            draw_packet(access=access, packet_id=packet.pk)
        finding = Finding.objects.filter(household=row, open=True).order_by("pk").first()
    assert finding is not None
    assert EvidencePaper is type(kept)
    named = {"ref": row.ref, "month": MONTHS[0], "entry": entry, "draw": entry, "year": 2026}
    named |= {"number": 1, "form": "csv", "packet_id": packet.pk, "paper_id": kept.pk}
    # A reset key and a passkey that nobody has: their routes are asked by the form alone.
    named |= {"uidb36": "1", "key": "none-at-all", "pk": 0}
    return named | {"finding_id": finding.pk}


def _of_firm(access: Access, who: str, scene: Scene) -> dict[str, Any]:
    """A message, an endpoint and a calendar of a firm: the parts of their addresses."""
    member = Access.for_user(scene.members[who].user)
    assert member is not None
    word = FIRM_WORDS["other" if who == "stranger" else "own"]
    with member.opened():
        row, _secret = add_endpoint(
            access=member, url=f"https://9.9.9.9/{word}", events=["month.closed"]
        )
        told = {"firm_id": access.firm_id, "dedupe_key": f"test:{word}", "kind": "digest"}
        enqueue(
            **told, channel="mail", recipient=f"all@{word}.example", content=f"Word from {word}"
        )
        message = OutboxMessage.objects.get(dedupe_key=f"test:{word}")
        token = notices.make_feed(access=member, language="en", names=True)
    return {"endpoint_id": row.pk, "message_id": message.pk, "token": token}


def _nowhere(scene: Scene) -> dict[str, Any]:
    """Parts of an address that have the right form and name nothing."""
    found: dict[str, Any] = dict(scene.places["own"])
    for name, value in found.items():
        if isinstance(value, uuid.UUID):
            found[name] = uuid.uuid4()
    token = notices._new_token(scene.firms["own"].pk)
    return found | {"ref": "HH-none", "entry": "none-1", "draw": "none-1", "token": token}
