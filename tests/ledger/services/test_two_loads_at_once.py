"""Two loads of one household at the same moment: one writes, the other finds it written."""

from __future__ import annotations

import threading

import pytest
from django.db import connections

from ledger import models as rows
from ledger.services.households import Loaded, load_households
from planning.access import Access
from planning.models import Household
from planning.services.firms import create_firm
from tests.cast import household_file


@pytest.mark.django_db(databases=["default", "owner"], transaction=True)
def test_two_threads_load_one_file_once():
    access = Access.system(create_firm(name="Lockkeepers").pk, "test")
    content = household_file("HH-1", None, "papers")
    gate = threading.Barrier(2)
    found: list[Loaded] = []

    def work() -> None:
        try:
            gate.wait(10)
            found.extend(load_households(access=access, files=[("one.json", content)]))
        finally:
            connections["default"].close()

    threads = [threading.Thread(target=work) for _ in range(2)]
    for one in threads:
        one.start()
    for one in threads:
        one.join(60)
    assert sorted(one.created for one in found) == [False, True]
    assert sorted(one.changed for one in found) == [False, True]
    with access.opened():
        assert Household.objects.count() == 1
        assert set(rows.Statement.objects.values_list("revision", flat=True)) == {1}
