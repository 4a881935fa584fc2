"""Saving a changed plan: a new version, once, by those who may, on the newest."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404

from config.models import AuditEvent
from config.problems import BadInput
from planning.core.types import Plan
from planning.core.whatif import Change, changed
from planning.mapping import plan_value, profile_value
from planning.models import Household, PlanVersion
from planning.selectors.plan_versions import plan_versions
from planning.services.plan_versions import NotTheNewestError, save_plan
from tests.cast import Cast

GROWTH = Decimal("0.0111")


def plan_of(household: Household, growth: Decimal = GROWTH) -> Plan:
    plan = changed(profile_value(household), Change(growth=growth)).plan
    assert plan is not None
    return plan


def counts(access) -> tuple[int, int]:
    with access.opened():
        acts = AuditEvent.objects.filter(action="plan.save").count()
        return PlanVersion.objects.count(), acts


@pytest.fixture
def asked(cast: Cast) -> dict:
    with cast.system.opened():
        plan = plan_of(cast.household)
    return {"ref": "HH-1", "plan": plan, "reason": "  a lower growth ", "based_on": 1}


@pytest.mark.parametrize("who", ["owner", "advisor"])
def test_a_changed_plan_becomes_the_next_version(cast: Cast, asked: dict, who: str):
    access = cast.access(who)
    before = counts(access)
    saved = save_plan(access=access, **asked)
    assert (saved.household_id, saved.number, saved.written) == (cast.household.pk, 2, True)
    assert counts(access) == (before[0] + 1, before[1] + 1)
    with access.opened():
        assert plan_value(cast.household) == asked["plan"]
        newest, oldest = plan_versions(access, cast.household.pk)
        assert (newest.by, newest.reason) == (getattr(cast, who).email, "a lower growth")
        assert oldest.plan is not None
        assert oldest.plan.investment.growth_annual != GROWTH
        event = AuditEvent.objects.get(action="plan.save") if who == "owner" else None
    if event is not None:
        assert event.detail["number"] == 2
        assert event.detail["digest"] == newest.digest
        assert event.by_id == cast.owner.pk


def test_the_same_plan_twice_is_one_version(cast: Cast, asked: dict):
    access = cast.access("advisor")
    first = save_plan(access=access, **asked)
    after = counts(access)
    again = save_plan(access=access, **asked)
    assert (again.number, again.written) == (first.number, False)
    unordered = replace(asked["plan"], opening=tuple(reversed(asked["plan"].opening)))
    third = save_plan(access=access, **asked | {"plan": unordered, "based_on": 2})
    assert (third.number, third.written) == (2, False)
    assert counts(access) == after


def test_somebody_saved_first(cast: Cast, asked: dict):
    with cast.system.opened():
        other = plan_of(cast.household, Decimal("0.02"))
    save_plan(access=cast.access("owner"), **asked | {"plan": other})
    before = counts(cast.access("owner"))
    with pytest.raises(NotTheNewestError, match="version 2 was saved since version 1"):
        save_plan(access=cast.access("advisor"), **asked)
    assert counts(cast.access("owner")) == before


@pytest.mark.parametrize("based_on", [0, 2, 99])
def test_a_version_that_is_not_the_newest_is_no_base(cast: Cast, asked: dict, based_on: int):
    with pytest.raises(NotTheNewestError):
        save_plan(access=cast.access("advisor"), **asked | {"based_on": based_on})


@pytest.mark.parametrize("who", ["assistant", "client", "accountant"])
def test_other_roles_may_not(cast: Cast, asked: dict, who: str):
    before = counts(cast.system)
    with pytest.raises(PermissionDenied):
        save_plan(access=cast.access(who), **asked)
    assert counts(cast.system) == before


def test_another_advisors_household_is_not_found(cast: Cast, asked: dict):
    with pytest.raises(Http404):
        save_plan(access=cast.access("colleague"), **asked)


def test_the_stranger_cannot_reach_ours(cast: Cast, asked: dict):
    before = counts(cast.system)
    with pytest.raises(Http404):
        save_plan(access=cast.access("stranger"), **asked | {"ref": cast.household.pk})
    saved = save_plan(access=cast.access("stranger"), **asked)
    assert saved.household_id == cast.strangers_household.pk
    assert counts(cast.system) == before


@pytest.mark.parametrize("who", ["client", "accountant"])
def test_versions_are_for_the_staff(cast: Cast, who: str):
    with cast.access(who).opened() as access, pytest.raises(PermissionDenied):
        plan_versions(access, cast.household.pk)


def test_a_strangers_question_for_our_versions_is_empty(cast: Cast):
    with cast.access("stranger").opened() as access:
        assert plan_versions(access, cast.household.pk) == ()


@pytest.mark.parametrize(
    ("moved", "match"),
    [
        ({"reason": "  "}, "needs a reason"),
        ({"reason": "x" * 501}, "longer than 500"),
    ],
)
def test_a_version_needs_its_reason(cast: Cast, asked: dict, moved: dict, match: str):
    before = counts(cast.system)
    with pytest.raises(BadInput, match=match):
        save_plan(access=cast.access("advisor"), **asked | moved)
    assert counts(cast.system) == before


def test_a_plan_that_cannot_run_is_not_saved(cast: Cast, asked: dict):
    before = counts(cast.system)
    broken = replace(asked["plan"], months=0)
    with pytest.raises(BadInput):
        save_plan(access=cast.access("advisor"), **asked | {"plan": broken})
    no_account = replace(asked["plan"], opening=(*asked["plan"].opening, ("nothing", 1)))
    with pytest.raises(BadInput, match="nothing"):
        save_plan(access=cast.access("advisor"), **asked | {"plan": no_account})
    assert counts(cast.system) == before
