"""The inbox, one finding's page and its acts, by role; the cure on the page."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from config.database import firm_scope
from ledger.models import Finding, FindingEvent
from ledger.services.closing import asking
from planning.core.months import last_day, month_of
from planning.models import Membership
from reports.packets.findings import due_by
from reports.selectors import inbox
from reports.selectors.book import GRACE, finding_json
from tests.reports import sample
from tests.reports.conftest import ADVISOR, CANARY, load
from tests.reports.sample import REF

INBOX = reverse("findings")
UNTIL = (datetime.now(tz=UTC).date() + timedelta(days=40)).isoformat()


def one(book, code="mixed-line", firm="firm_id"):
    with firm_scope(getattr(book, firm)):
        return Finding.objects.get(code=code, household__ref__startswith="HH", open=True)


def page_of(found):
    return reverse("finding", args=[found.pk])


def act(client, found, **data):
    return client.post(reverse("finding_act", args=[found.pk]), data, follow=True)


def events(found):
    with firm_scope(found.firm_id):
        rows = FindingEvent.objects.filter(finding=found).order_by("number")
        return [row.kind for row in rows]


def member(book, role):
    with firm_scope(book.firm_id):
        return str(Membership.objects.get(user=book.people[role]).pk)


# -- who sees what -----------------------------------------------------------------


@pytest.mark.parametrize("role", ["principal", "advisor", "assistant"])
def test_staff_sees_inbox_and_finding(book, role):
    client, found = book.signed_in(role), one(book)
    text = client.get(INBOX).content.decode()
    assert "Heron Quay" in text
    assert CANARY not in text
    shown = client.get(page_of(found)).content.decode()
    for part in ("Line mixes eligible and ineligible use", "$3,000.00", "The cure, step by step"):
        assert part in shown, part
    assert ("Reason of the acceptance" in shown) == (role != "assistant")


def test_a_client_and_nobody(book, client):
    found = one(book)
    for path in (INBOX, page_of(found)):
        assert book.signed_in("client").get(path).status_code == 403
        assert book.signed_in("nobody").get(path).status_code == 403
        assert client.get(path).status_code == 302
    assert "findings/" not in book.signed_in("client").get(f"/households/{REF}/").content.decode()
    for role in ("client", "nobody"):
        signed = book.signed_in(role)
        assert act(signed, found, act="seen").status_code == 403
        chosen = {"finding": str(found.pk), "act": "seen"}
        assert signed.post(reverse("findings_act"), chosen).status_code == 403
    assert one(book).state == "open"


def test_a_stranger_gets_the_same_answer_as_for_nothing(book):
    found, client = one(book), book.signed_in("stranger")
    absent = reverse("finding", args=[uuid4()])
    assert client.get(page_of(found)).status_code == client.get(absent).status_code == 404
    note = {"act": "note", "text": "x", "form": str(uuid4())}
    for data in ({"act": "seen"}, {"act": "assign", "member": "nobody"}, note):
        assert act(client, found, **data).status_code == 404
    chosen = {"finding": [str(found.pk)], "act": "seen"}
    assert client.post(reverse("findings_act"), chosen).status_code == 404
    text = client.get(INBOX).content.decode()
    assert CANARY in text
    assert "Heron Quay" not in text
    assert "opened" in events(found)
    assert one(book).state == "open"


def test_an_assistant_may_not_accept_by_a_form_of_their_own(book):
    found, client = one(book), book.signed_in("assistant")
    assert act(client, found, act="accept", reason="x", until=UNTIL).status_code == 403
    assert one(book).state == "open"


# -- working through -----------------------------------------------------------------


def test_seen_assigned_accepted_and_put_back(book):
    found, client = one(book), book.signed_in("advisor")
    act(client, found, act="seen")
    act(client, found, act="assign", member=member(book, "assistant"))
    text = act(client, found, act="accept", reason="sold in May", until=UNTIL).content.decode()
    assert "sold in May" in text
    assert "Accepted" in text
    assert "assistant@fernhollow.example" in text
    assert "Heron Quay" in client.get(f"{INBOX}?state=accepted").content.decode()
    assert page_of(found) not in client.get(INBOX).content.decode()
    act(client, found, act="back")
    assert events(found)[-4:] == ["seen", "assigned", "accepted", "released"]
    mine = book.signed_in("assistant").get(f"{INBOX}?assigned=me").content.decode()
    assert page_of(found) in mine
    assert page_of(found) not in client.get(f"{INBOX}?assigned=me").content.decode()
    assert page_of(found) not in client.get(f"{INBOX}?assigned=nobody").content.decode()


def test_a_note_sent_twice_is_one_and_its_letters_stay_letters(book):
    found, client = one(book), book.signed_in("assistant")
    form = re.search(r'name="form" value="([^"]+)"', client.get(page_of(found)).content.decode())
    for _ in range(2):
        text = act(
            client, found, act="note", text="<b>Called</b> the lender", form=form[1]
        ).content.decode()
    assert events(found).count("noted") == 1
    assert "&lt;b&gt;Called&lt;/b&gt; the lender" in text


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"act": "accept", "reason": " ", "until": UNTIL}, "Say why"),
        ({"act": "accept", "reason": "x", "until": ""}, "Give the last day"),
        ({"act": "accept", "reason": "x", "until": "2020-01-01"}, "Nothing was changed"),
        ({"act": "note", "text": "", "form": str(uuid4())}, "Write the note first"),
        ({"act": "note", "text": "x", "form": "?"}, "on the finding&#x27;s page"),
        ({"act": "assign", "member": "me"}, "Choose whom"),
        ({"act": "burn"}, "Choose what to do"),
        ({"act": "accept", "reason": "x" * 2001, "until": UNTIL}, "at most 2000"),
    ],
)
def test_what_makes_no_sense_is_said_and_changes_nothing(book, data, words):
    found = one(book)
    before = events(found)
    assert words in act(book.signed_in("advisor"), found, **data).content.decode()
    assert events(found) == before


def test_an_ended_finding_takes_notes_alone(book):
    found, client = one(book), book.signed_in("advisor")
    with firm_scope(book.firm_id):
        Finding.objects.filter(pk=found.pk).update(open=False, state="cured")
    assert "ended meanwhile" in act(client, found, act="seen").content.decode()
    text = act(client, found, act="note", text="Well done", form=str(uuid4())).content.decode()
    assert "Well done" in text
    assert "Mark as seen" not in text
    assert "The cure, step by step" not in text


def test_one_act_on_several(book):
    client = book.signed_in("advisor")
    with firm_scope(book.firm_id):
        ids = [str(pk) for pk in Finding.objects.filter(open=True).values_list("pk", flat=True)]
    path = reverse("findings_act") + "?severity=act"

    def all_of(**data):
        return client.post(path, {"finding": ids, **data}, follow=True)

    answer = all_of(act="seen")
    assert answer.redirect_chain[-1][0] == f"{INBOX}?severity=act"
    assert f"{len(ids)} findings changed." in answer.content.decode()
    all_of(act="assign", member=member(book, "advisor"))
    all_of(act="accept", reason="all known", until=UNTIL)
    with firm_scope(book.firm_id):
        rows = list(Finding.objects.filter(pk__in=ids))
        assert {row.state for row in rows} == {"accepted"}
        assert {f"{row.accepted_until}" for row in rows} == {UNTIL}
        assert {str(row.assignee_id) for row in rows} == {member(book, "advisor")}
    assert "Choose at least one" in client.post(path, {"act": "seen"}, follow=True).content.decode()


# -- counter, filters, order --------------------------------------------------------


def counted(client):
    found = re.search(
        r'class="count"><span aria-hidden="true">(\d+)<', client.get("/").content.decode()
    )
    return int(found[1]) if found else 0


def test_the_counter_counts_what_nobody_has_looked_at(book):
    client = book.signed_in("advisor")
    with firm_scope(book.firm_id):
        wanted = Finding.objects.filter(open=True, severity__in=["act", "fix"]).count()
    assert counted(client) == wanted > 0
    act(client, one(book), act="seen")
    assert counted(client) == wanted - 1
    assert counted(book.signed_in("principal")) == wanted - 1


@pytest.mark.parametrize(
    ("query", "there"),
    [
        ("severity=act", True),
        ("severity=note", False),
        ("code=mixed-line", True),
        ("code=payment-missed", False),
        ("state=open", True),
        ("state=seen", False),
        ("state=accepted", False),
        ("assigned=nobody", True),
        (f"advisor={ADVISOR}", True),
        ("advisor=somebody@else.example", False),
        (f"household={REF}", True),
        ("household=HH-0000", False),
        ("severity=%00&state=nonsense&after=1_2_x_y", True),
    ],
)
def test_filters(book, query, there):
    text = book.signed_in("advisor").get(f"{INBOX}?{query}").content.decode()
    assert (page_of(one(book)) in text) == there


def listed(text):
    return re.findall(r'name="finding" value="([^"]+)"', text)


def test_pages_follow_the_order_and_miss_nothing(book, monkeypatch):
    client = book.signed_in("advisor")
    whole = listed(client.get(f"{INBOX}?state=any").content.decode())
    monkeypatch.setattr(inbox, "PAGE_SIZE", 2)
    found, path = [], f"{INBOX}?state=any"
    while path:
        text = client.get(path).content.decode()
        found += listed(text)
        link = re.search(r'rel="next" href="([^"]+)"', text)
        path = INBOX + link[1].replace("&amp;", "&") if link else ""
    assert found == whole
    assert len(found) > 4
    with firm_scope(book.firm_id):
        rows = {str(row.pk): row for row in Finding.objects.all()}
    graveness = ["act", "fix", "paper", "note"]
    keys = [(graveness.index(rows[pk].severity), -rows[pk].dollars_cents) for pk in found]
    assert keys == sorted(keys)


def test_the_database_knows_the_same_dates_as_the_packet(book):
    with firm_scope(book.firm_id):
        Finding.objects.filter(code="mixed-line").update(
            code="interest-unpaid", last_month="2026-12-01"
        )
        Finding.objects.filter(code="personal-use").update(code="renewal-due", key="mtg:2027-03-15")
        rows = list(inbox.in_order(Finding.objects.filter(open=True)))
    assert {row.code for row in rows} >= {"interest-unpaid", "renewal-due"}
    for row in rows:
        as_of = last_day(month_of(row.last_month)) + GRACE
        due = due_by(finding_json(row), as_of)
        assert row.due == (inbox.NEVER if due is None else datetime.fromisoformat(due).date())


def test_query_counts_do_not_grow_with_the_book(book):
    client = book.signed_in("advisor")
    paths = (INBOX, page_of(one(book)))

    def counts():
        found = []
        for path in paths:
            with CaptureQueriesContext(connection) as captured:
                assert client.get(path).status_code == 200
            found.append(len([row for row in captured if " FROM " in row["sql"]]))
        return found

    before = counts()
    for number in range(3):
        more = sample.file()
        more["household"] |= {"ref": f"ZZ-08{number:02d}", "name": f"Curlew Bay {number}"}
        load(book.firm_id, more)
    for work in asking.plan_work(
        month="2026-09", first="2026-07", firm="Fernhollow Advisory", household=None
    ):
        asking.close_here(work)
    assert client.get(INBOX).content.decode().count("Curlew Bay") > 3
    assert counts() == before == [9, 29]


# -- the cure -----------------------------------------------------------------------


def test_the_cure_shows_steps_ways_picture_and_table(book):
    text = book.signed_in("advisor").get(page_of(one(book))).content.decode()
    for part in (
        "<svg",
        "The figures as a table",
        "line-eligible takes over the $1,000.00 of eligible use.",
        "line-unsupported takes over the $2,000.00 without evidence",
        "Repay the $3,000.00 on line-ineligible alone",
        "would leave $1,500.00 ineligible, and 16.67% of the principal eligible before and 16.67%",
        "Without a split only paying the whole line, $6,000.00, clears it.",
        "The same cash repaid without a split",
        "What it cannot restore",
        "What does not cure it",
        "more deductible interest over twelve months.",
    ):
        assert part in text, part


def test_links_lead_to_the_finding(book):
    client, path = book.signed_in("advisor"), page_of(one(book))
    assert path in client.get(f"/households/{REF}/").content.decode()
    assert f"{INBOX}?household={REF}" in client.get("/").content.decode()
    month = reverse("month", args=[REF, "2026-09"])
    assert month in client.get(path).content.decode()


@pytest.mark.parametrize("page", ["inbox", "finding"])
def test_pages_obey_the_strict_policy_and_speak_french(book, page):
    client = book.signed_in("advisor")
    path = INBOX if page == "inbox" else page_of(one(book))
    answer = client.get(path)
    assert "unsafe" not in answer.headers["Content-Security-Policy"]
    text = answer.content.decode().replace("http://www.w3.org/", "")
    for forbidden in (" style=", "<style", "onclick", "javascript:", "http://", "https://"):
        assert forbidden not in text, forbidden
    client.post("/language/", {"language": "fr", "next": "/"})
    french = client.get(path).content.decode()
    assert '<html lang="fr-CA">' in french
    assert "Constats" in french
    for english in ("Dollars now", "Accept until", "Assigned", "Mark as seen", "Evidence"):
        assert english not in french, english
