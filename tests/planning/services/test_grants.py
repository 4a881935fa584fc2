"""An accountant's grant: one household, one year, for a while, and revoked at once."""

from __future__ import annotations

import threading
import uuid

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connections

from config.database import firm_scope
from config.models import AuditEvent
from config.problems import BadInput
from planning.access import Access, NotVisibleError
from planning.models import AccountantGrant, Membership
from planning.services import grants
from tests.cast import make_cast

OUTSIDE = {"name": "Ines Quay", "email": "ines@ledgerloft.example"}


def granted(cast, who="advisor", **more):
    wanted = {"ref": "HH-1", "year": 2025} | (OUTSIDE if "member_id" not in more else {}) | more
    return grants.grant(access=cast.access(who), **wanted)


def own(cast) -> Membership:
    with cast.system.opened():
        return Membership.objects.get(user=cast.accountant)


def sees(access) -> set[str]:
    with access.opened():
        return {one.ref for one in access.households()}


def test_a_grant_opens_one_household_and_one_year_to_the_member_it_names(cast):
    accountant = cast.access("accountant")
    assert sees(accountant) == set()
    row, code = granted(cast, member_id=own(cast).pk)
    assert code == ""
    assert sees(accountant) == {"HH-1"}
    with accountant.opened():
        household = accountant.household("HH-1")
        accountant.require_year(household, 2025)
        for year in (2024, 2026):
            with pytest.raises(NotVisibleError):
                accountant.require_year(household, year)
    grants.revoke_grant(access=cast.access("advisor"), grant_id=row.pk)
    assert sees(accountant) == set()


def test_a_grant_that_is_over_shows_nothing(cast):
    row, _ = granted(cast, member_id=own(cast).pk)
    with cast.system.opened():
        AccountantGrant.objects.filter(pk=row.pk).update(expires_at=row.recorded_at)
    assert sees(cast.access("accountant")) == set()


def test_another_accountants_grant_is_not_mine(cast):
    granted(cast)
    assert sees(cast.access("accountant")) == set()


def test_a_code_works_once_and_a_new_one_replaces_it(cast):
    row, code = granted(cast)
    assert len(code) == 8
    assert grants.enter(firm_id=cast.firm.pk, grant_id=row.pk, code=code)
    assert grants.enter(firm_id=cast.firm.pk, grant_id=row.pk, code=code) is None
    second = grants.new_code(access=cast.access("advisor"), grant_id=row.pk)
    third = grants.new_code(access=cast.access("advisor"), grant_id=row.pk)
    assert second != third
    assert grants.enter(firm_id=cast.firm.pk, grant_id=row.pk, code=second) is None
    assert grants.enter(firm_id=cast.firm.pk, grant_id=row.pk, code=third)
    guest = Access.for_grant(cast.firm.pk, row.pk)
    assert guest is not None
    assert sees(guest) == {"HH-1"}
    assert guest.user_id is None
    with cast.system.opened():
        assert code not in str(list(AccountantGrant.objects.values()))
        assert code not in str(list(AuditEvent.objects.values()))


def test_five_wrong_codes_void_the_grant(cast):
    row, code = granted(cast)
    wrong = "00000000" if code != "00000000" else "11111111"
    for _ in range(5):
        assert grants.enter(firm_id=cast.firm.pk, grant_id=row.pk, code=wrong) is None
    assert grants.enter(firm_id=cast.firm.pk, grant_id=row.pk, code=code) is None
    assert Access.for_grant(cast.firm.pk, row.pk) is None
    with pytest.raises(BadInput):
        grants.new_code(access=cast.access("advisor"), grant_id=row.pk)


def test_four_wrong_codes_do_not(cast):
    row, code = granted(cast)
    wrong = "00000000" if code != "00000000" else "11111111"
    for _ in range(4):
        assert grants.enter(firm_id=cast.firm.pk, grant_id=row.pk, code=wrong) is None
    assert grants.enter(firm_id=cast.firm.pk, grant_id=row.pk, code=code)


@pytest.mark.parametrize("how", ["revoked", "over", "unknown", "other firm", "used up"])
def test_a_right_code_does_not_open_what_is_not_open(cast, how):
    row, code = granted(cast, max_uses=1)
    firm, grant_id = cast.firm.pk, row.pk
    if how == "revoked":
        grants.revoke_grant(access=cast.access("owner"), grant_id=row.pk)
    elif how == "over":
        with cast.system.opened():
            AccountantGrant.objects.filter(pk=row.pk).update(expires_at=row.recorded_at)
    elif how == "unknown":
        grant_id = uuid.uuid4()
    elif how == "other firm":
        firm = cast.other_firm.pk
    else:
        assert grants.enter(firm_id=firm, grant_id=grant_id, code=code)
        with pytest.raises(BadInput):
            grants.new_code(access=cast.access("advisor"), grant_id=grant_id)
    assert grants.enter(firm_id=firm, grant_id=grant_id, code=code) is None


@pytest.mark.parametrize(
    "wrong",
    [
        {"days": 0},
        {"days": 91},
        {"max_uses": 0},
        {"max_uses": 101},
        {"year": 25},
        {"name": ""},
        {"email": "none"},
        {"member_id": uuid.UUID(int=7)},
    ],
)
def test_what_cannot_be_granted_is_refused(cast, wrong):
    with pytest.raises(BadInput):
        granted(cast, **wrong)
    with cast.system.opened():
        assert not AccountantGrant.objects.exists()


@pytest.mark.parametrize("who", ["assistant", "client", "accountant"])
def test_only_principals_and_advisors_grant(cast, who):
    row, _ = granted(cast)
    access = cast.access(who)
    for act in (
        lambda: granted(cast, who),
        lambda: grants.revoke_grant(access=access, grant_id=row.pk),
        lambda: grants.new_code(access=access, grant_id=row.pk),
    ):
        with pytest.raises(PermissionDenied):
            act()


@pytest.mark.parametrize("who", ["colleague", "stranger"])
def test_who_does_not_see_the_household_reaches_no_grant_of_it(cast, who):
    row, _ = granted(cast)
    access = cast.access(who)
    for act in (grants.revoke_grant, grants.new_code):
        with pytest.raises(NotVisibleError):
            act(access=access, grant_id=row.pk)
    if who == "colleague":
        with pytest.raises(NotVisibleError):
            granted(cast, who)


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_of_two_with_one_code_at_once_one_enters():
    cast = make_cast()
    row, code = granted(cast)
    gate = threading.Barrier(2)
    told: list[bool] = []

    def try_it() -> None:
        gate.wait()
        try:
            told.append(grants.enter(firm_id=cast.firm.pk, grant_id=row.pk, code=code) is not None)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=try_it) for _ in range(2)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(told) == [False, True]
    with firm_scope(cast.firm.pk):
        assert AccountantGrant.objects.get(pk=row.pk).uses == 1
