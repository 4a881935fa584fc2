"""The trail: numbered, chained, and broken links are found."""

from __future__ import annotations

import pytest
from django.db import connections

from config import audit
from config.database import firm_scope
from config.database.append_only import maintenance
from config.models import AuditEvent
from planning.access import Access
from planning.services.firms import create_firm


def start() -> Access:
    return Access.system(create_firm(name="Lockkeepers").pk, "test of the trail")


@pytest.mark.django_db
def test_acts_are_numbered_and_each_seals_the_one_before():
    who = start()
    with who.opened():
        first = AuditEvent.objects.get()
        second = audit.record(who, "gate.open", object_type="gate", object_id=7, detail={"w": 2})
        third = audit.record(who, "gate.close")
        assert [first.number, second.number, third.number] == [1, 2, 3]
        assert (first.previous, second.previous, third.previous) == (
            audit.START,
            first.digest,
            second.digest,
        )
        assert list(audit.broken_links(who.firm_id)) == []


@pytest.mark.django_db
def test_an_act_that_is_rolled_back_leaves_no_trace():
    who = start()

    def act_and_fail() -> None:
        with who.opened():
            audit.record(who, "gate.open")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        act_and_fail()
    with who.opened():
        assert AuditEvent.objects.count() == 1


@pytest.mark.django_db
def test_each_firm_has_its_own_trail():
    one, two = start(), Access.system(create_firm(name="Bargees").pk, "test")
    with two.opened():
        assert audit.record(two, "gate.open").number == 2
    with one.opened():
        assert audit.record(one, "gate.open").number == 2


@pytest.mark.django_db(databases=["default", "owner"], transaction=True)
@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("UPDATE config_auditevent SET detail = '{\"w\": 3}' WHERE number = 2", "content"),
        ("UPDATE config_auditevent SET actor = 'somebody else' WHERE number = 2", "content"),
        ("DELETE FROM config_auditevent WHERE number = 2", "missing"),
        ("UPDATE config_auditevent SET previous = digest WHERE number = 3", "name the row"),
    ],
)
def test_a_changed_trail_is_found(change: str, said: str):
    who = start()
    with who.opened():
        audit.record(who, "gate.open", detail={"w": 2})
        audit.record(who, "gate.close")
    with maintenance(), connections["owner"].cursor() as cursor:
        cursor.execute(change)
    with firm_scope(who.firm_id):
        found = [what for _, what in audit.broken_links(who.firm_id)]
    assert any(said in what for what in found)
