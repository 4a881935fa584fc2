"""A new plan version and the closed months: marked, closed again, the old rows kept."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied

from config.database import firm_scope
from ledger.models import HouseholdMonth
from ledger.services.closing import running
from ledger.services.plans import keep_plan
from planning.access import Access
from planning.core.whatif import Change, changed
from planning.mapping import profile_value
from planning.models import Household, PlanVersion
from planning.services.plan_versions import NotTheNewestError
from tests.ledger.services.closing import book

pytestmark = pytest.mark.django_db


@pytest.fixture
def firm():
    firm_id = book.firm_of("Lantern Ridge", book.sample("papers"))
    book.schedule(firm_id, "2025-01", "2025-02", "2025-03")
    running.run_household(firm_id=firm_id, household_id=book.household(firm_id))
    return firm_id


def keep(firm_id, based_on=1, growth="0.0123"):
    access = Access.system(firm_id, "test")
    with access.opened():
        household = Household.objects.get()
        plan = changed(profile_value(household), Change(growth=Decimal(growth))).plan
        return keep_plan(
            access=access, ref=household.pk, plan=plan, reason="lower hopes", based_on=based_on
        )


def marks(firm_id):
    with firm_scope(firm_id):
        return [(one.state, one.stale_reason) for one in HouseholdMonth.objects.order_by("month")]


def test_a_new_version_marks_every_closed_month(firm):
    saved = keep(firm)
    assert saved.written
    assert marks(firm) == [("done", "plan version 2: lower hopes")] * 3


def test_the_same_plan_again_marks_nothing(firm):
    keep(firm)
    with firm_scope(firm):
        HouseholdMonth.objects.update(stale_reason="")
    assert not keep(firm).written
    assert marks(firm) == [("done", "")] * 3


def test_a_refused_version_marks_nothing(firm):
    with pytest.raises(NotTheNewestError):
        keep(firm, based_on=7)
    assert marks(firm) == [("done", "")] * 3
    with firm_scope(firm):
        assert PlanVersion.objects.count() == 1


def test_an_assistant_may_not(firm):
    access = Access(firm_id=firm, role="assistant", actor="x", channel="desk")
    with pytest.raises(PermissionDenied):
        keep_plan(access=access, ref="x", plan=None, reason="x", based_on=1)


def test_the_months_are_closed_again_and_their_old_rows_stay(firm):
    keep(firm)
    running.run_household(firm_id=firm, household_id=book.household(firm))
    with firm_scope(firm):
        versions = HouseholdMonth.objects.order_by("month", "version")
        assert [(f"{one.month:%m}", one.version, one.state) for one in versions] == [
            (month, version, state)
            for month in ("01", "02", "03")
            for version, state in ((1, "superseded"), (2, "done"))
        ]
        assert all(one.result for one in versions)
