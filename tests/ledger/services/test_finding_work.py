"""Who may work on a finding, what stays of it, and two people at the same moment."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, connections, transaction

from config import audit
from config.database import firm_scope
from config.models import AuditEvent
from ledger.models import Finding, FindingEvent
from ledger.services import findings
from ledger.services.closing import running
from ledger.services.closing.expiring import put_back_expired
from ledger.services.closing.sweeping import sweep_firm
from planning.access import NotVisibleError
from planning.models import Membership
from tests.cast import make_cast
from tests.ledger.services.closing import book

UNTIL = datetime.now(tz=UTC).date() + timedelta(days=60)
SAMPLE = "personal-draw-cured"


@pytest.fixture
def cast(db):
    return closed_cast()


def closed_cast():
    """The cast, its households closed for June 2025 with a mixed line each."""
    cast = make_cast(SAMPLE)
    for firm in (cast.firm, cast.other_firm):
        book.schedule(firm.pk, "2025-06")
    for row in (cast.household, cast.colleagues_household, cast.strangers_household):
        running.run_household(firm_id=row.firm_id, household_id=row.pk)
    return cast


def mixed(household):
    with firm_scope(household.firm_id):
        return Finding.objects.get(code="mixed-line", household_id=household.pk)


def member(cast, who):
    with cast.system.opened():
        return Membership.objects.get(user=getattr(cast, who)).pk


def events(finding):
    with firm_scope(finding.firm_id):
        rows = FindingEvent.objects.filter(finding=finding).order_by("number")
        return [(one.number, one.kind) for one in rows][-3:]


def work(cast, who, finding):
    """Every act of work as one of the cast."""
    access = cast.access(who)
    findings.mark_seen(access=access, finding_id=finding.pk)
    findings.add_note(access=access, finding_id=finding.pk, text="Called the lender", form=uuid4())
    findings.assign(access=access, finding_id=finding.pk, member_id=member(cast, "owner"))


@pytest.mark.parametrize("who", ["owner", "advisor", "assistant"])
def test_staff_sees_notes_and_assigns(cast, who):
    found = mixed(cast.household)
    work(cast, who, found)
    assert [kind for _, kind in events(found)] == ["seen", "noted", "assigned"]
    with firm_scope(found.firm_id):
        last = FindingEvent.objects.filter(finding=found).order_by("-number").first()
        assert last.by == getattr(cast, who)
        assert list(audit.broken_links(found.firm_id)) == []


@pytest.mark.parametrize("who", ["client", "accountant"])
def test_others_do_not(cast, who):
    found = mixed(cast.household)
    before = events(found)
    for act in (
        lambda access: findings.mark_seen(access=access, finding_id=found.pk),
        lambda access: findings.add_note(
            access=access, finding_id=found.pk, text="x", form=uuid4()
        ),
        lambda access: findings.assign(access=access, finding_id=found.pk, member_id=None),
        lambda access: findings.put_back(access=access, finding_id=found.pk),
        lambda access: findings.accept(access=access, finding_id=found.pk, reason="x", until=UNTIL),
    ):
        with pytest.raises(PermissionDenied):
            act(cast.access(who))
    assert events(found) == before


@pytest.mark.parametrize("who", ["stranger", "colleague"])
def test_who_cannot_see_the_household_finds_no_finding(cast, who):
    found = mixed(cast.household)
    access = cast.access(who)
    for act in (
        lambda: findings.mark_seen(access=access, finding_id=found.pk),
        lambda: findings.accept(access=access, finding_id=found.pk, reason="x", until=UNTIL),
        lambda: findings.put_back(access=access, finding_id=found.pk),
        lambda: findings.assign(access=access, finding_id=found.pk, member_id=None),
        lambda: findings.add_note(access=access, finding_id=found.pk, text="x", form=uuid4()),
        lambda: findings.mark_seen_all(access=access, finding_ids=[found.pk]),
    ):
        with pytest.raises(NotVisibleError):
            act()
    assert mixed(cast.household).state == "open"


def test_one_finding_out_of_view_and_nothing_is_done(cast):
    mine, theirs = mixed(cast.household), mixed(cast.colleagues_household)
    access = cast.access("advisor")
    with pytest.raises(NotVisibleError):
        findings.mark_seen_all(access=access, finding_ids=[mine.pk, theirs.pk])
    assert mixed(cast.household).state == "open"
    both = [mine.pk, theirs.pk]
    assert findings.mark_seen_all(access=cast.access("owner"), finding_ids=both) == 2
    assert findings.mark_seen_all(access=cast.access("owner"), finding_ids=both) == 0


@pytest.mark.parametrize(
    ("who", "may"),
    [
        ("owner", True),
        ("advisor", True),
        ("assistant", True),
        ("colleague", False),
        ("client", False),
        ("accountant", False),
    ],
)
def test_a_finding_goes_to_who_can_see_the_household(cast, who, may):
    found, access = mixed(cast.household), cast.access("owner")
    if may:
        findings.assign(access=access, finding_id=found.pk, member_id=member(cast, who))
        findings.assign(access=access, finding_id=found.pk, member_id=member(cast, who))
        assert events(found)[-1][1] == "assigned"
        assert [kind for _, kind in events(found)].count("assigned") == 1
        findings.assign(access=access, finding_id=found.pk, member_id=None)
        assert events(found)[-1][1] == "unassigned"
    else:
        with pytest.raises(ValueError, match=r"see the household|active staff"):
            findings.assign(access=access, finding_id=found.pk, member_id=member(cast, who))
        assert mixed(cast.household).assignee_id is None


def test_no_finding_goes_to_another_firm_whatever_the_code_says(cast):
    with firm_scope(cast.other_firm.pk):
        theirs = Membership.objects.get(user=cast.stranger).pk
    found = mixed(cast.household)
    with pytest.raises(ValueError, match="active staff"):
        findings.assign(access=cast.access("owner"), finding_id=found.pk, member_id=theirs)
    with cast.system.opened(), pytest.raises(IntegrityError), transaction.atomic():
        Finding.objects.filter(pk=found.pk).update(assignee_id=theirs)


@pytest.mark.parametrize("days", [-1, 0, 367])
def test_an_acceptance_ends_within_a_year(cast, days):
    with cast.system.opened():
        today = findings.firm_today()
    with pytest.raises(ValueError, match="at most a year"):
        findings.accept(
            access=cast.access("advisor"),
            finding_id=mixed(cast.household).pk,
            reason="x",
            until=today + timedelta(days=days),
        )
    assert mixed(cast.household).state == "open"


def test_the_database_keeps_the_end_of_an_acceptance(cast):
    found = mixed(cast.household)
    with cast.system.opened(), pytest.raises(IntegrityError), transaction.atomic():
        Finding.objects.filter(pk=found.pk).update(state="accepted")


def run_out(cast, found):
    """Accept a finding and let its last day pass."""
    findings.accept(access=cast.access("advisor"), finding_id=found.pk, reason="x", until=UNTIL)
    with cast.system.opened():
        yesterday = findings.firm_today() - timedelta(days=1)
        Finding.objects.filter(pk=found.pk).update(accepted_until=yesterday)


def test_an_acceptance_lasts_through_its_last_day(cast):
    found = mixed(cast.household)
    run_out(cast, found)
    with cast.system.opened():
        Finding.objects.filter(pk=found.pk).update(accepted_until=findings.firm_today())
        assert put_back_expired(firm_id=cast.firm.pk) == 0
    assert mixed(cast.household).state == "accepted"


def test_a_sweep_puts_back_what_was_accepted_long_enough(cast):
    found = mixed(cast.household)
    run_out(cast, found)
    assert (sweep_firm(cast.firm.pk).expired, sweep_firm(cast.firm.pk).expired) == (1, 0)
    found = mixed(cast.household)
    assert (found.state, found.accepted_until, events(found)[-1][1]) == ("open", None, "expired")
    with cast.system.opened():
        assert AuditEvent.objects.filter(action="finding.expired").count() == 1


def test_a_close_puts_it_back_as_well(cast):
    found = mixed(cast.household)
    run_out(cast, found)
    book.schedule(cast.firm.pk, "2025-07")
    running.run_household(firm_id=cast.firm.pk, household_id=cast.household.pk)
    found = mixed(cast.household)
    assert (found.state, f"{found.last_month:%Y-%m}") == ("open", "2025-07")
    assert events(found)[-1][1] == "expired"


def test_another_reason_or_day_replaces_an_acceptance(cast):
    found, access = mixed(cast.household), cast.access("advisor")
    for reason, until in (("a", UNTIL), ("a", UNTIL), ("b", UNTIL), ("b", UNTIL + timedelta(1))):
        findings.accept(access=access, finding_id=found.pk, reason=reason, until=until)
    assert [kind for _, kind in events(found)] == ["accepted"] * 3
    assert mixed(cast.household).accepted_until == UNTIL + timedelta(1)


def test_the_same_form_is_one_note_and_notes_stay(cast):
    found, access, form = mixed(cast.household), cast.access("assistant"), uuid4()
    for _ in range(2):
        findings.add_note(access=access, finding_id=found.pk, text=" Called. ", form=form)
    with pytest.raises(ValueError, match="needs words"):
        findings.add_note(access=access, finding_id=found.pk, text=" \n", form=uuid4())
    with cast.system.opened():
        note = FindingEvent.objects.get(finding=found, kind="noted")
        assert (note.reason, note.by) == ("Called.", cast.assistant)
        with pytest.raises(Exception, match="permission denied"), transaction.atomic():
            FindingEvent.objects.filter(pk=note.pk).update(reason="never said")


@pytest.mark.django_db(databases=["default", "owner"], transaction=True)
def test_two_people_at_the_same_moment():
    cast = closed_cast()
    found, access, form = mixed(cast.household), cast.access("advisor"), uuid4()
    other = mixed(cast.colleagues_household)
    owner = cast.access("owner")
    gate = threading.Barrier(2)
    failed = []

    def act(ids) -> None:
        try:
            gate.wait(10)
            findings.accept(access=access, finding_id=found.pk, reason="agreed", until=UNTIL)
            findings.add_note(access=access, finding_id=found.pk, text="Called", form=form)
            findings.accept_all(access=owner, finding_ids=ids, reason="both", until=UNTIL)
        except Exception as error:
            failed.append(error)
        finally:
            connections["default"].close()

    threads = [
        threading.Thread(target=act, args=(ids,))
        for ids in ([found.pk, other.pk], [other.pk, found.pk])
    ]
    for one in threads:
        one.start()
    for one in threads:
        one.join(60)
    assert failed == []
    with cast.system.opened():
        rows = FindingEvent.objects.filter(finding=found).order_by("number")
        by_people = [(one.kind, one.reason) for one in rows if one.by_id]
        assert by_people.count(("noted", "Called")) == 1
        assert len({one.number for one in rows}) == len(rows)
        assert FindingEvent.objects.filter(finding=other, kind="accepted").count() == 1
        assert list(audit.broken_links(cast.firm.pk)) == []


@pytest.mark.django_db(databases=["default", "owner"], transaction=True)
def test_a_decision_during_a_close_is_not_written_over():
    """Both lock the finding: whoever comes second sees what the first did."""
    cast = closed_cast()
    found, access = mixed(cast.household), cast.access("advisor")
    book.schedule(cast.firm.pk, "2025-07")
    gate = threading.Barrier(2)
    failed = []

    def run(act) -> None:
        try:
            gate.wait(10)
            act()
        except Exception as error:
            failed.append(error)
        finally:
            connections["default"].close()

    acts = (
        lambda: running.run_household(firm_id=cast.firm.pk, household_id=cast.household.pk),
        lambda: findings.accept(access=access, finding_id=found.pk, reason="agreed", until=UNTIL),
    )
    threads = [threading.Thread(target=run, args=(act,)) for act in acts]
    for one in threads:
        one.start()
    for one in threads:
        one.join(60)
    assert failed == []
    found = mixed(cast.household)
    assert (found.state, f"{found.last_month:%Y-%m}") == ("accepted", "2025-07")
