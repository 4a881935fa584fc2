"""What a person does to a finding, and what a close does to it afterwards."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.core.exceptions import PermissionDenied

from config.database import firm_scope
from config.models import AuditEvent
from ledger.models import Finding, FindingEvent
from ledger.services import findings
from ledger.services.closing import running
from planning.access import Access, NotVisibleError
from tests.ledger.services.closing import book

pytestmark = pytest.mark.django_db

FILE = book.sample("personal-draw-cured")


@pytest.fixture
def firm():
    firm_id = book.firm_of("Lantern Ridge", FILE)
    book.schedule(firm_id, "2025-06")
    close(firm_id)
    return firm_id


@pytest.fixture
def access(firm):
    return Access.system(firm, "test")


def later(days):
    """A day from today on."""
    return datetime.now(tz=UTC).date() + timedelta(days=days)


def close(firm_id):
    running.run_household(firm_id=firm_id, household_id=book.household(firm_id))


def mixed(firm_id):
    with firm_scope(firm_id):
        return Finding.objects.get(code="mixed-line")


def test_an_acceptance_is_kept_with_its_reason_in_events_and_trail(firm, access):
    findings.accept(
        access=access, finding_id=mixed(firm).pk, reason="refinancing in May", until=later(30)
    )
    assert mixed(firm).state == "accepted"
    with firm_scope(firm):
        event = FindingEvent.objects.order_by("-number").first()
        assert (event.kind, event.reason) == ("accepted", "refinancing in May")
        assert AuditEvent.objects.filter(action="finding.accepted").count() == 1


def test_accepting_twice_is_accepting_once(firm, access):
    for _ in range(2):
        findings.accept(access=access, finding_id=mixed(firm).pk, reason="known", until=later(30))
    with firm_scope(firm):
        assert FindingEvent.objects.filter(kind="accepted").count() == 1


def test_an_acceptance_without_a_reason_is_refused(firm, access):
    with pytest.raises(ValueError, match="reason"):
        findings.accept(access=access, finding_id=mixed(firm).pk, reason="  ", until=later(30))
    assert mixed(firm).state == "open"


def test_an_acceptance_outlasts_the_next_close_and_ends_with_the_finding(firm, access):
    findings.accept(access=access, finding_id=mixed(firm).pk, reason="known", until=later(30))
    book.schedule(firm, "2025-07")
    close(firm)
    assert (mixed(firm).state, f"{mixed(firm).last_month:%Y-%m}") == ("accepted", "2025-07")
    book.schedule(firm, "2025-08", "2025-09", "2025-10")
    close(firm)
    assert (mixed(firm).state, mixed(firm).open) == ("cured", False)
    with pytest.raises(findings.SettledFindingError):
        findings.accept(
            access=access, finding_id=mixed(firm).pk, reason="too late", until=later(30)
        )


def test_a_finding_seen_or_put_back(firm, access):
    found = mixed(firm).pk
    assert findings.mark_seen(access=access, finding_id=found).state == "seen"
    findings.accept(access=access, finding_id=found, reason="known", until=later(30))
    assert findings.mark_seen(access=access, finding_id=found).state == "accepted"
    assert findings.put_back(access=access, finding_id=found).state == "open"


def test_another_firm_finds_no_such_finding(firm):
    stranger = Access.system(book.new_firm("Alder Point"), "test")
    with pytest.raises(NotVisibleError):
        findings.accept(
            access=stranger, finding_id=mixed(firm).pk, reason="curious", until=later(30)
        )


def test_an_assistant_may_not_accept(firm):
    assistant = Access(firm_id=firm, role="assistant", actor="a@example.test", channel="desk")
    with pytest.raises(PermissionDenied):
        findings.accept(
            access=assistant, finding_id=mixed(firm).pk, reason="known", until=later(30)
        )
