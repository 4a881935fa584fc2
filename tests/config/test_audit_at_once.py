"""Many writers of one trail: every number once, every link whole."""

from __future__ import annotations

import threading

import pytest
from django.db import connections

from config import audit
from config.models import AuditEvent
from planning.access import Access
from planning.services.firms import create_firm

WRITERS, ACTS = 4, 6


@pytest.mark.django_db(databases=["default", "owner"], transaction=True)
def test_writers_take_turns():
    who = Access.system(create_firm(name="Lockkeepers").pk, "test")
    gate = threading.Barrier(WRITERS)

    def work() -> None:
        try:
            gate.wait(10)
            for act in range(ACTS):
                with who.opened():
                    audit.record(who, "gate.open", object_id=act)
        finally:
            connections["default"].close()

    threads = [threading.Thread(target=work) for _ in range(WRITERS)]
    for one in threads:
        one.start()
    for one in threads:
        one.join(60)
    with who.opened():
        assert AuditEvent.objects.count() == 1 + WRITERS * ACTS
        assert list(audit.broken_links(who.firm_id)) == []
