"""Who sees which household, and who may do what."""

from __future__ import annotations

import uuid

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404

from ledger import models as ledger
from planning.access import ACTIONS, Access, NotVisibleError, household_path
from planning.models import Account, Household, Membership, Party
from planning.models.firm import ROLES
from tests.cast import Cast

SEES = {
    "owner": {"HH-1", "HH-2"},
    "advisor": {"HH-1"},
    "colleague": {"HH-2"},
    "assistant": {"HH-1"},
    "client": {"HH-1"},
    "accountant": set(),
    "stranger": {"HH-1"},
}


@pytest.mark.parametrize("who", sorted(SEES))
def test_everybody_sees_their_own_households_and_no_other(cast: Cast, who: str):
    access = cast.access(who)
    with access.opened():
        seen = {(one.firm_id, one.ref) for one in access.households()}
    firm = cast.other_firm if who == "stranger" else cast.firm
    assert seen == {(firm.pk, ref) for ref in SEES[who]}


@pytest.mark.parametrize("who", sorted(SEES))
def test_rows_of_a_household_follow_it(cast: Cast, who: str):
    access = cast.access(who)
    with access.opened():
        for model, path in ((Account, "household__ref"), (Party, "account__household__ref")):
            seen = set(access.scope(model.objects.all()).values_list(path, flat=True))
            assert seen == SEES[who]


def test_the_strangers_household_of_the_same_reference_is_another_one(cast: Cast):
    stranger = cast.access("stranger")
    with stranger.opened():
        assert stranger.household("HH-1").pk == cast.strangers_household.pk
    owner = cast.access("owner")
    with owner.opened():
        assert owner.household("HH-1").pk == cast.household.pk


@pytest.mark.parametrize("who", ["colleague", "stranger", "accountant"])
def test_forbidden_looks_like_absent(cast: Cast, who: str):
    access = cast.access(who)
    with access.opened():
        answers = []
        for asked in (cast.household.pk, uuid.uuid4(), "no-such-household"):
            with pytest.raises(Http404) as refused:
                access.household(asked)
            answers.append(str(refused.value))
    assert len(set(answers)) == 1


def test_an_advisor_finds_their_household_by_reference_and_by_id(cast: Cast):
    access = cast.access("advisor")
    with access.opened():
        assert access.household("HH-1") == access.household(cast.household.pk)
        assert access.household("HH-1", lock=True) == cast.household
        with pytest.raises(NotVisibleError):
            access.household("HH-2")


def test_rows_of_the_firm_are_for_its_staff(cast: Cast):
    for who, expected in (("owner", 6), ("advisor", 6), ("client", 0), ("accountant", 0)):
        access = cast.access(who)
        with access.opened():
            assert access.scope(Membership.objects.all()).count() == expected


def test_the_trail_is_for_the_principal(cast: Cast):
    from config.models import AuditEvent

    for who, seen in (("owner", True), ("advisor", False), ("client", False)):
        access = cast.access(who)
        with access.opened():
            assert access.scope(AuditEvent.objects.all()).exists() is seen


def test_a_deactivated_member_has_no_access(cast: Cast):
    with cast.system.opened():
        Membership.objects.filter(user=cast.advisor).update(active=False)
    assert Access.for_user(cast.advisor) is None
    assert Access.for_user(cast.colleague) is not None


def test_a_deactivated_user_has_no_access(cast: Cast):
    cast.advisor.is_active = False
    assert Access.for_user(cast.advisor) is None


@pytest.mark.parametrize("action", sorted(ACTIONS))
def test_the_table_of_actions_names_known_roles(action: str):
    assert ACTIONS[action] <= {*ROLES, "system"}
    granted = {"packet.view", "trace.year", "grant.own"}
    assert ("accountant" in ACTIONS[action]) == (action in granted)


def test_what_is_not_listed_is_refused(cast: Cast):
    access = cast.access("client")
    assert access.can("packet.view")
    assert not access.can("use.decide")
    with pytest.raises(PermissionDenied):
        access.require("use.decide")
    with pytest.raises(KeyError):
        access.can("household.delete")


def test_every_ledger_table_knows_its_way_to_the_household():
    found = {
        model.__name__: household_path(model)
        for model in (
            Household,
            ledger.Statement,
            ledger.StatementEntry,
            ledger.StatementRate,
            ledger.EvidenceRef,
        )
    }
    assert found == {
        "Household": "pk",
        "Statement": "household",
        "StatementEntry": "household",
        "StatementRate": "statement__household",
        "EvidenceRef": "split__use__household",
    }
