"""Two advisors save different plans on one version at one moment: one wins, one is told."""

from __future__ import annotations

import threading
from decimal import Decimal

import pytest
from django.db import connections

from planning.access import Access
from planning.core.whatif import Change, changed
from planning.mapping import profile_value
from planning.models import PlanVersion
from planning.services.firms import create_firm
from planning.services.plan_versions import NotTheNewestError, save_plan
from tests.cast import household_file, load


@pytest.mark.django_db(databases=["default", "owner"], transaction=True)
def test_one_wins_and_the_other_is_told():
    access = Access.system(create_firm(name="Lockkeepers").pk, "test")
    household = load(access, household_file("HH-1", None))
    with access.opened():
        value = profile_value(household)
    plans = [changed(value, Change(growth=Decimal(text))).plan for text in ("0.01", "0.02")]
    gate = threading.Barrier(2)
    found: list[str] = []

    def work(plan) -> None:
        try:
            gate.wait(10)
            save_plan(access=access, ref="HH-1", plan=plan, reason="at once", based_on=1)
            found.append("saved")
        except NotTheNewestError:
            found.append("told")
        finally:
            connections["default"].close()

    threads = [threading.Thread(target=work, args=(plan,)) for plan in plans]
    for one in threads:
        one.start()
    for one in threads:
        one.join(60)
    assert sorted(found) == ["saved", "told"]
    with access.opened():
        assert PlanVersion.objects.count() == 2
