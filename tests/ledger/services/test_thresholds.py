"""Setting a firm's thresholds: who may, what is kept, which closes are redone."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction

from config.database import firm_scope
from config.models import AuditEvent
from config.problems import BadInput
from ledger.core.drift.thresholds import DEFAULTS
from ledger.models import Finding
from ledger.selectors.thresholds import thresholds_in_force
from ledger.services.closing import running
from ledger.services.thresholds import set_thresholds
from planning.access import Access
from planning.models import FirmSettings
from planning.selectors.firm_settings import settings_history
from tests.cast import make_cast
from tests.ledger.services.closing import book

pytestmark = pytest.mark.django_db


def test_only_a_principal_of_the_firm_sets_and_sees_them() -> None:
    cast = make_cast()
    for who in ("advisor", "assistant", "client", "accountant"):
        with pytest.raises(PermissionDenied):
            set_thresholds(access=cast.access(who), values={"idle_days": 6}, reason="slower")
        with cast.access(who).opened(), pytest.raises(PermissionDenied):
            settings_history(cast.access(who))
    made = set_thresholds(access=cast.access("owner"), values={"idle_days": 6}, reason=" slower ")
    assert made is not None
    assert (made.number, made.thresholds, made.reason) == (1, {"idle_days": 6}, "slower")
    assert made.by_id == cast.owner.pk
    with cast.access("owner").opened() as access:
        assert [one.number for one in settings_history(access)] == [1]
        assert thresholds_in_force(cast.firm.pk).idle_days == 6
    with cast.access("stranger").opened() as access:
        assert settings_history(access) == ()
        assert thresholds_in_force(cast.other_firm.pk) == DEFAULTS
        # Row-level security: the other firm's settings cannot be read by asking for its id.
        assert thresholds_in_force(cast.firm.pk) == DEFAULTS


def test_the_same_values_again_write_nothing_and_a_return_to_defaults_is_a_version() -> None:
    cast = make_cast()
    owner = cast.access("owner")
    assert set_thresholds(access=owner, values={"idle_days": 5}, reason="as it is") is None
    first = set_thresholds(access=owner, values={"idle_days": 6}, reason="slower")
    assert set_thresholds(access=owner, values={"idle_days": 6}, reason="again") == first
    back = set_thresholds(access=owner, values={}, reason="back")
    assert back is not None
    assert (back.number, back.thresholds) == (2, {})
    with owner.opened():
        trail = AuditEvent.objects.filter(action="firm.thresholds").order_by("number")
        assert [one.detail["after"] for one in trail] == [{"idle_days": 6}, {}]


def test_faults_are_told_all_at_once_and_nothing_is_written() -> None:
    cast = make_cast()
    with pytest.raises(BadInput) as caught:
        set_thresholds(
            access=cast.access("owner"), values={"idle_days": "x", "nonsense": 1}, reason=" "
        )
    assert {one.where for one in caught.value.problems} == {"idle_days", "nonsense", "reason"}
    with cast.access("owner").opened():
        assert not FirmSettings.objects.exists()


def test_who_looked_at_an_older_version_is_told_and_writes_nothing() -> None:
    cast = make_cast()
    owner = cast.access("owner")
    set_thresholds(access=owner, values={"idle_days": 6}, reason="slower", seen=0)
    with pytest.raises(BadInput) as caught:
        set_thresholds(access=owner, values={"idle_days": 7}, reason="slower still", seen=0)
    assert caught.value.problems[0].where == "version"
    # The very same form sent twice is the first one's success.
    assert set_thresholds(access=owner, values={"idle_days": 6}, reason="slower", seen=0)
    with owner.opened(), pytest.raises(IntegrityError), transaction.atomic():
        FirmSettings.objects.create(firm_id=cast.firm.pk, number=1, thresholds={}, reason="twice")


def test_closed_months_are_closed_anew_with_the_new_thresholds() -> None:
    firm = book.firm_of("Lantern Ridge", book.sample("missed-months"))
    other = book.firm_of("Quiet Weir", book.sample("missed-months"))
    for one in (firm, other):
        book.schedule(one, "2025-06")
        _close(one)
    with firm_scope(firm):
        assert Finding.objects.filter(code="missed-reborrow", open=True).count() == 1
    access = Access.system(firm, "test")
    set_thresholds(access=access, values={"missed_reborrow": "900000.00"}, reason="larger book")
    assert {row.stale_reason for row in book.rows(firm)} == {"thresholds changed: larger book"}
    assert {row.stale_reason for row in book.rows(other)} == {""}
    _close(firm)
    latest = book.row(firm, "2025-06")
    assert (latest.version, latest.reason) == (2, "thresholds changed: larger book")
    with firm_scope(firm):
        assert not Finding.objects.filter(code="missed-reborrow", open=True).exists()
    with firm_scope(other):
        assert Finding.objects.filter(code="missed-reborrow", open=True).exists()


def _close(firm_id) -> None:
    running.run_household(firm_id=firm_id, household_id=book.household(firm_id))
