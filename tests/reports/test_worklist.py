"""The book as a work list: order, filters, pages, counts, acts and views, by role."""

from __future__ import annotations

import html
import random
import re
import uuid
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from config.database import firm_scope
from config.models import AuditEvent
from ledger.models import Finding, HouseholdMonth, HouseholdStanding, StandingCount
from ledger.services import bulk
from planning.access import Access, NotVisibleError
from planning.core.months import last_day, month_of
from planning.models import Household, Membership
from reports.models import SavedView
from reports.packets.findings import by_severity, due_by, ordered, steps
from reports.selectors import worklist
from reports.selectors.book import finding_json, working
from reports.selectors.inbox import unseen_count, visible_findings
from reports.selectors.stored import latest_balances
from reports.selectors.worklist import Filters, standings, worklist_page
from tests.reports.conftest import CANARY, Book
from tests.reports.sample import REF

TODAY = date(2026, 11, 25)
CODES = (
    "mixed-line",
    "personal-use",
    "interest-unpaid",
    "renewal-due",
    "idle-draw",
    "rate-off-plan",
)


def access_of(book: Book, role: str) -> Access:
    found = Access.for_user(book.people[role])
    assert found is not None
    return found


def crowd(book: Book, count: int, seed: int = 3) -> None:
    """More households with findings of every kind, straight into the tables."""
    rng = random.Random(seed)
    with firm_scope(book.firm_id):
        advisor = Membership.objects.get(role="advisor")
        for at in range(count):
            mine = at % 2 == 0
            row = Household.objects.create(
                firm_id=book.firm_id,
                ref=f"HH-9{at:03d}",
                name=f"Élodie Reedmill {at}" if at % 3 else f"Otter Weir {at}",
                province=rng.choice(["ON", "QC"]),
                advisor=advisor if mine else None,
                advisor_email=advisor.user.email if mine else None,
            )
            for code in rng.sample(CODES, rng.randrange(4)):
                state = rng.choice(["open", "seen", "accepted"])
                Finding.objects.create(
                    firm_id=book.firm_id,
                    household=row,
                    code=code,
                    key="m-1:2026-12-01" if code == "renewal-due" else "line",
                    first_month=date(2026, 8, 1),
                    last_month=date(2026, 9, 1),
                    dollars_cents=rng.choice([0, 100, 250_000]),
                    severity=rng.choice(["act", "fix", "paper", "note"]),
                    life="standing",
                    open=True,
                    state=state,
                    accepted_until=date(2027, 1, 1) if state == "accepted" else None,
                    assignee=rng.choice([None, advisor]),
                    detail={},
                )


def test_a_standing_says_what_the_findings_and_closes_say(book):
    crowd(book, 40)
    with firm_scope(book.firm_id):
        households = list(Household.objects.all())
        latest = latest_balances([one.pk for one in households])
        seen = 0
        for one in households:
            row = HouseholdStanding.objects.get(household=one)
            found = Finding.objects.filter(working(), household=one)
            shown = ordered([finding_json(each) for each in found])
            todo = steps(shown)
            closed = latest.get(one.pk)
            groups = by_severity(shown)
            assert row.severities == [group["severity"] for group in groups]
            assert [f"{cents / 100:.2f}" for cents in row.severity_cents] == [
                group["dollars"] for group in groups
            ]
            assert row.top == (todo[0]["id"] if todo else None)
            assert row.more == max(0, len(todo) - 1)
            assert row.last_closed == (closed and closed["month"])
            if closed:
                as_of = last_day(month_of(closed["month"])) + timedelta(days=10)
                due = min(filter(None, (due_by(each, as_of) for each in todo)), default=None)
                assert (row.due and row.due.isoformat()) == due
                seen += 1
            total = sum(round(float(group["dollars"]) * 100) for group in groups)
            assert row.minus_drift_cents == -total
    assert seen


@pytest.mark.parametrize("role", ["principal", "advisor", "assistant"])
def test_counters_say_what_counting_would(book, role):
    crowd(book, 30)
    access = access_of(book, role)
    with access.opened():
        page = worklist_page(access, Filters(), TODAY)
        rows = list(standings(access))
        assert {one.household_id for one in rows} == set(
            access.households().values_list("pk", flat=True)
        )
        assert page["total"] == len(rows) > 10
        for name, number in page["choices"]["severity"]:
            assert number == sum(name in one.severities for one in rows), name
        for name, number in page["choices"]["code"]:
            assert number == sum(name in one.codes for one in rows), name
        for name, number in page["choices"]["state"]:
            assert number == sum(name in one.states for one in rows), name
        for days, number in page["choices"]["renewal"]:
            last = TODAY + timedelta(days=int(days))
            assert number == sum(bool(one.renewal and one.renewal <= last) for one in rows)
        mine = access.membership_id
        assert page["choices"]["me"] == sum(mine in one.assignees for one in rows)
        counted = visible_findings(access).filter(
            open=True, state="open", severity__in=("act", "fix")
        )
        assert unseen_count(access) == page["unseen"] == counted.count()


def test_counters_follow_every_change_and_folding_changes_none(book):
    crowd(book, 12)
    with firm_scope(book.firm_id):

        def read():
            with connection.cursor() as cursor:
                cursor.execute(
                    "SELECT scope, facet, value, sum(households), sum(cents)"
                    " FROM ledger_standingcount GROUP BY 1, 2, 3"
                    " HAVING sum(households) <> 0 OR sum(cents) <> 0 ORDER BY 1, 2, 3"
                )
                return cursor.fetchall()

        before, rows = read(), StandingCount.objects.count()
        done = list(Finding.objects.filter(open=True, state="open"))
        for _ in range(60):  # enough changes that one of them folds, and every one undone
            for state in ("seen", "open"):
                Finding.objects.filter(pk=done[0].pk).update(state=state)
        assert read() == before
        assert StandingCount.objects.count() < rows + 60 * 20


def test_pages_follow_each_other_without_gap_or_repeat(book, monkeypatch):
    crowd(book, 33)
    monkeypatch.setattr(worklist, "PAGE_SIZE", 7)
    access = access_of(book, "principal")
    with access.opened():
        whole = list(
            standings(access)
            .order_by("urgency", "minus_drift_cents", "ref")
            .values_list("ref", flat=True)
        )
        seen: list[str] = []
        filters = Filters()
        while True:
            page = worklist_page(access, filters, TODAY)
            seen += [row["ref"] for row in page["rows"]]
            if page["next"] is None:
                break
            asked = dict(re.findall(r"(\w+)=([^&]*)", page["next"]))
            filters = Filters.read(asked)
            assert filters.after
    assert seen == whole
    assert len(seen) == 34


FILTERED = [
    ({"severity": "fix"}, lambda one: "fix" in one.severities),
    ({"code": "idle-draw"}, lambda one: "idle-draw" in one.codes),
    ({"state": "accepted"}, lambda one: "accepted" in one.states),
    ({"province": "QC"}, lambda one: one.province == "QC"),
    ({"assigned": "nobody"}, lambda one: one.urgency < 4 and not one.assignees),
    ({"missing": "1"}, lambda one: "statement-missing" in one.codes),
    ({"q": "elodie reed"}, lambda one: "Élodie" in one.name),
    ({"q": "hh-90"}, lambda one: one.ref.startswith("HH-90")),
    ({"renewal": "120"}, lambda one: one.renewal is not None),
]


def test_filters_keep_what_they_say(book):
    crowd(book, 40)
    access = access_of(book, "principal")
    with access.opened():
        rows = list(standings(access))
        for asked, holds in FILTERED:
            page = worklist_page(access, Filters.read(asked), TODAY)
            wanted = {one.ref for one in rows if holds(one)}
            assert {row["ref"] for row in page["rows"]} == wanted, asked
            assert page["found"] in (None, len(wanted)), asked


def test_the_page_asks_six_questions_with_filters_and_later_pages_too(book, monkeypatch):
    crowd(book, 20)
    monkeypatch.setattr(worklist, "PAGE_SIZE", 5)
    for role in ("principal", "advisor", "assistant"):
        client = book.signed_in(role)
        text = client.get("/").content.decode()
        later = html.unescape(re.search(r'rel="next" href="([^"]+)"', text)[1])
        for path in ("/", "/" + later, "/?severity=fix&province=QC&q=otter&assigned=me&renewal=60"):
            with CaptureQueriesContext(connection) as captured:
                client.get(path)
            asked = [one["sql"] for one in captured if " FROM " in one["sql"]]
            assert len(asked) <= 6, (role, path, [sql[:90] for sql in asked])


def test_acts_on_several_households(book):
    crowd(book, 6)
    client = book.signed_in("advisor")
    access = access_of(book, "advisor")
    with access.opened():
        ids = [str(one.household_id) for one in standings(access)]
    path = reverse("book_act")
    member = str(access.membership_id)
    client.post(path, {"household": ids, "act": "assign", "member": member})
    client.post(path, {"household": ids, "act": "seen"})
    with access.opened():
        left = Finding.objects.filter(working(), household_id__in=ids)
        assert set(left.values_list("state", "assignee_id")) == {("seen", access.membership_id)}
        assert unseen_count(access) == 0
    with firm_scope(book.firm_id):
        others = Finding.objects.exclude(household_id__in=ids).filter(open=True)
        assert "open" in set(others.values_list("state", flat=True))


def test_a_close_is_asked_for_once(book):
    access = access_of(book, "advisor")
    with access.opened():
        ids = list(access.households().values_list("pk", flat=True))
        before = HouseholdMonth.objects.count()
        assert bulk.ask_closes(access=access, household_ids=ids) == 1
        once = HouseholdMonth.objects.count()
        bulk.ask_closes(access=access, household_ids=ids)
        assert HouseholdMonth.objects.count() == once >= before
    with firm_scope(book.firm_id):
        assert AuditEvent.objects.filter(action="close.asked").count() == 2


@pytest.mark.parametrize(
    ("who", "status"), [("stranger", 404), ("client", 403), ("nobody", 403), ("assistant", 302)]
)
def test_who_may_act_on_a_household(book, who, status):
    with firm_scope(book.firm_id):
        ids = [str(Household.objects.get(ref=REF).pk)]
    answer = book.signed_in(who).post(reverse("book_act"), {"household": ids, "act": "seen"})
    assert answer.status_code == status
    with firm_scope(book.firm_id):
        states = set(Finding.objects.filter(working()).values_list("state", flat=True))
    assert states == ({"seen"} if status == 302 else {"open"})


def test_an_assistant_asks_for_no_close(book):
    with firm_scope(book.firm_id):
        ids = [str(Household.objects.get(ref=REF).pk)]
    client = book.signed_in("assistant")
    assert "Ask for the close" not in client.get("/").content.decode()
    answer = client.post(reverse("book_act"), {"household": ids, "act": "close"})
    assert answer.status_code == 403


def test_more_households_than_a_page_are_refused(book):
    access = access_of(book, "principal")
    with access.opened():
        with pytest.raises(ValueError, match="At most"):
            bulk.see_households(access=access, household_ids=[uuid.uuid4() for _ in range(51)])
        with pytest.raises(NotVisibleError):
            bulk.see_households(access=access, household_ids=[uuid.uuid4()])


def test_views_are_ones_own_unless_shared(book):
    advisor, principal = book.signed_in("advisor"), book.signed_in("principal")
    keep = reverse("keep_view")
    advisor.post(keep, {"name": "Québec now", "query": "?province=QC&evil=1&after=0_0_x"})
    advisor.post(keep, {"name": "All to fix", "query": "?severity=fix", "shared": "1"})
    advisor.post(keep, {"name": "All to fix", "query": "?severity=fix&state=open", "shared": "1"})
    mine, theirs = (one.get("/").content.decode() for one in (advisor, principal))
    assert 'href="/?province=QC"' in mine
    assert "Québec now" not in theirs
    assert "All to fix" in theirs
    assert "All to fix" not in book.signed_in("stranger").get("/").content.decode()
    with firm_scope(book.firm_id):
        kept = {one.name: one for one in SavedView.objects.all()}
        assert kept["All to fix"].query == "?severity=fix&state=open"
    drop = reverse("drop_view", args=[kept["All to fix"].pk])
    for who in ("principal", "stranger"):
        assert book.signed_in(who).post(drop).status_code == 404
    assert advisor.post(drop).status_code == 302
    assert "All to fix" not in principal.get("/").content.decode()
    assert book.signed_in("client").post(keep, {"name": "x", "query": ""}).status_code == 403


def test_a_view_without_a_name_is_refused(book):
    client = book.signed_in("advisor")
    answer = client.post(
        reverse("keep_view"), {"name": " \x00 ", "query": "?province=QC"}, follow=True
    )
    assert "A view needs a name" in answer.content.decode()
    with firm_scope(book.firm_id):
        assert not SavedView.objects.exists()


def test_renewals_by_month_and_advisor(book):
    client = book.signed_in("principal")
    text = client.get(reverse("renewals")).content.decode()
    for part in (
        "Heron Quay",
        "<svg",
        "iona.marsh@fernhollow.example",
        "Mar\u00a02027",
        "Term ends",
    ):
        assert part in text, part
    assert CANARY not in text
    empty = client.get(reverse("renewals") + "?month=2027-02").content.decode()
    assert "No household in this month" in empty
    for odd in ("?month=2027-13", "?month=x&after=y", "?month=0000-01", "?after=2027-01-01_"):
        assert client.get(reverse("renewals") + odd).status_code == 200
    assert CANARY in book.signed_in("stranger").get(reverse("renewals")).content.decode()
    assert book.signed_in("client").get(reverse("renewals")).status_code == 403


def test_renewals_page_after_page(book, monkeypatch):
    from reports.selectors import renewals

    monkeypatch.setattr(renewals, "PAGE_SIZE", 2)
    access = access_of(book, "principal")
    with access.opened():
        for at in range(5):
            row = Household.objects.create(
                firm_id=book.firm_id, ref=f"HH-7{at}", name=f"Plover {at}", province="ON"
            )
            HouseholdStanding.objects.filter(household=row).update(renewal=date(2027, 3, 15))
        seen, asked = [], renewals.Asked("2027-03")
        for _ in range(4):
            page = renewals.renewals_page(access, asked, TODAY, "en")
            seen += [one["ref"] for one in page["rows"]]
            if page["next"] is None:
                break
            asked = renewals.Asked.read(dict(re.findall(r"(\w+)=([^&]*)", page["next"])))
    assert sorted(seen) == [REF, "HH-70", "HH-71", "HH-72", "HH-73", "HH-74"]
    assert {month: n for month, n, _ in page["months"]}["2027-03"] == 6
