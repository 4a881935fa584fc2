"""A principal's acts on people: at once, on the record, and never without a principal left."""

from __future__ import annotations

import threading
import uuid

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connections
from django.test import Client

from config.database import firm_scope
from config.models import AuditEvent
from config.problems import BadInput
from planning.access import Access, NotVisibleError
from planning.models import ClientAccess, Delegation, Household, Membership
from planning.services import people
from planning.services.firms import add_person
from tests.cast import PASSWORD, make_cast


def member(cast, who) -> Membership:
    with cast.system.opened():
        return Membership.objects.get(user=getattr(cast, who))


def test_switching_off_ends_open_sessions_at_once_and_on_again_needs_a_new_sign_in(cast):
    browser = Client()
    browser.post("/login/", {"login": cast.advisor.email, "password": PASSWORD})
    assert browser.get("/").status_code == 200
    owner, row = cast.access("owner"), member(cast, "advisor")
    people.set_active(access=owner, member_id=row.pk, active=False)
    assert browser.get("/").status_code == 302
    assert Access.for_user(cast.advisor) is None
    people.set_active(access=owner, member_id=row.pk, active=True)
    assert browser.get("/").status_code == 302
    assert Access.for_user(cast.advisor) is not None
    with cast.system.opened():
        acts = AuditEvent.objects.filter(object_id=str(row.pk), action__startswith="person.o")
        assert list(acts.order_by("number").values_list("action", flat=True)) == [
            "person.off", "person.on",
        ]  # fmt: skip


def test_the_last_active_principal_stays(cast):
    owner, row = cast.access("owner"), member(cast, "owner")
    with pytest.raises(BadInput):
        people.set_active(access=owner, member_id=row.pk, active=False)
    with pytest.raises(BadInput):
        people.change_role(access=owner, member_id=row.pk, role="advisor")
    people.change_role(access=owner, member_id=member(cast, "colleague").pk, role="principal")
    people.change_role(access=owner, member_id=row.pk, role="advisor")
    assert member(cast, "owner").role == "advisor"


def test_a_new_role_drops_what_belonged_to_the_old_one(cast):
    owner = cast.access("owner")
    people.change_role(access=owner, member_id=member(cast, "assistant").pk, role="accountant")
    people.change_role(access=owner, member_id=member(cast, "client").pk, role="accountant")
    with cast.system.opened():
        assert not Delegation.objects.exists()
        assert not ClientAccess.objects.exists()


def test_who_advises_households_must_hand_them_over_first(cast):
    owner, row = cast.access("owner"), member(cast, "advisor")
    with pytest.raises(BadInput):
        people.change_role(access=owner, member_id=row.pk, role="client")
    people.assign_household(
        access=owner, ref="HH-1", advisor_id=member(cast, "colleague").pk, reason="leaves"
    )
    people.change_role(access=owner, member_id=row.pk, role="client")
    with cast.system.opened():
        moved = Household.objects.get(ref="HH-1")
        assert moved.advisor_email == cast.colleague.email
        event = AuditEvent.objects.get(action="household.advisor")
        assert event.detail["reason"] == "leaves"


@pytest.mark.parametrize("reason", ["", "   ", "x" * 501])
def test_a_household_moves_only_with_a_reason(cast, reason):
    with pytest.raises(BadInput):
        people.assign_household(
            access=cast.access("owner"), ref="HH-1",
            advisor_id=member(cast, "colleague").pk, reason=reason,
        )  # fmt: skip


def test_advisors_and_households_are_set_as_a_whole(cast):
    owner, colleague = cast.access("owner"), member(cast, "colleague")
    people.set_advisors(
        access=owner, member_id=member(cast, "assistant").pk, advisors=[colleague.pk]
    )
    people.set_households(access=owner, member_id=member(cast, "client").pk, refs=["HH-2"])
    for who in ("assistant", "client"):
        access = cast.access(who)
        with access.opened():
            assert {one.ref for one in access.households()} == {"HH-2"}
    with pytest.raises(BadInput):
        people.set_households(access=owner, member_id=colleague.pk, refs=["HH-2"])
    with pytest.raises(BadInput):
        people.set_advisors(
            access=owner, member_id=member(cast, "assistant").pk, advisors=[uuid.uuid4()]
        )


def acts_on(access, row, other):
    """Every act, for tests of who may."""
    return (
        lambda: people.set_active(access=access, member_id=row.pk, active=False),
        lambda: people.change_role(access=access, member_id=row.pk, role="principal"),
        lambda: people.set_advisors(access=access, member_id=row.pk, advisors=[other.pk]),
        lambda: people.set_households(access=access, member_id=row.pk, refs=["HH-1"]),
        lambda: people.assign_household(
            access=access, ref="HH-2", advisor_id=other.pk, reason="why"
        ),
    )


@pytest.mark.parametrize("who", ["advisor", "assistant", "client", "accountant"])
def test_only_a_principal_changes_people(cast, who):
    for act in acts_on(cast.access(who), member(cast, who), member(cast, "advisor")):
        with pytest.raises(PermissionDenied):
            act()


def test_the_stranger_reaches_nobody_of_ours(cast):
    row, other = member(cast, "assistant"), member(cast, "advisor")
    for act in acts_on(cast.access("stranger"), row, other):
        with pytest.raises(NotVisibleError):
            act()
    assert member(cast, "assistant").active


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_two_principals_who_switch_each_other_off_at_once_leave_one():
    cast = make_cast()
    second = add_person(
        access=cast.system, email="second@lockkeepers.example", role="principal", password=PASSWORD
    )
    owner = cast.access("owner")
    other = Access.for_user(second.user)
    first_row = member(cast, "owner")
    gate = threading.Barrier(2)
    told: list[str] = []

    def switch_off(access, row) -> None:
        gate.wait()
        try:
            people.set_active(access=access, member_id=row.pk, active=False)
            told.append("off")
        except BadInput:
            told.append("kept")
        finally:
            connections.close_all()

    threads = [
        threading.Thread(target=switch_off, args=pair)
        for pair in ((owner, second), (other, first_row))
    ]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(told) == ["kept", "off"]
    with firm_scope(cast.firm.pk):
        assert Membership.objects.filter(role="principal", active=True).count() == 1
