"""The pages on notices: who may open them, what they show once, what they keep."""

from __future__ import annotations

import uuid

import pytest

from config import outbox, webhooks
from config.database import firm_scope
from config.models import AuditEvent, OutboxMessage, WebhookEndpoint
from reports.models import CalendarFeed, NoticePreference, NoticeRules
from tests.reports.conftest import ADVISOR, Book

MINE, MESSAGES, HOOKS = "/me/notices/", "/messages/", "/messages/webhooks/"
CAUTION = "Not tax, legal or investment advice"


@pytest.fixture(autouse=True)
def _no_broker(settings):
    settings.REDIS_URL = "redis://127.0.0.1:1/0"


def dead_message(firm_id) -> OutboxMessage:
    """A digest that was given up."""
    with firm_scope(firm_id):
        outbox.enqueue(
            firm_id=firm_id,
            dedupe_key="digest:x",
            kind="digest",
            channel="mail",
            recipient=ADVISOR,
            content="the mail itself",
        )
        OutboxMessage.objects.update(state="dead", error="SMTPDataError 554", attempt=5)
        return OutboxMessage.objects.get()


@pytest.mark.parametrize("role", ["principal", "advisor", "assistant"])
def test_staff_sets_their_own_notices(book: Book, role: str):
    client = book.signed_in(role)
    page = client.get(MINE)
    assert page.status_code == 200
    assert CAUTION in page.content.decode()
    assert client.post(MINE, {"digest": "weekly", "language": "fr"}).status_code == 302
    with firm_scope(book.firm_id):
        (row,) = NoticePreference.objects.select_related("membership")
    assert (row.membership.user_id, row.digest) == (book.people[role].pk, "weekly")
    assert '<option value="weekly" selected>' in client.get(MINE).content.decode()
    assert client.post(MINE, {"digest": "hourly", "language": "fr"}).status_code == 400


@pytest.mark.parametrize("path", [MINE, MESSAGES, HOOKS])
def test_clients_and_people_without_a_firm_have_no_such_page(book: Book, path: str, client):
    assert book.signed_in("client").get(path).status_code == 403
    assert book.signed_in("nobody").get(path).status_code == 403
    assert client.get(path)["Location"].startswith("/login/")


@pytest.mark.parametrize("path", [MESSAGES, HOOKS])
@pytest.mark.parametrize("role", ["advisor", "assistant"])
def test_the_firms_messages_are_the_principals(book: Book, role: str, path: str):
    assert book.signed_in(role).get(path).status_code == 403
    assert path not in book.signed_in(role).get("/").content.decode()
    assert book.signed_in("principal").get(path).status_code == 200


@pytest.mark.parametrize("path", [MINE, MESSAGES, HOOKS])
def test_pages_obey_the_strict_policy_and_speak_french(book: Book, path: str):
    client = book.signed_in("principal")
    client.post("/language/", {"language": "fr", "next": "/"})
    answer = client.get(path)
    text = answer.content.decode()
    assert '<html lang="fr-CA">' in text
    assert "Ni conseil fiscal" in text
    assert "Sign out" not in text
    for forbidden in (" style=", "<style", "onclick", "javascript:", "<script"):
        assert forbidden not in text, forbidden
    assert answer["Cache-Control"] == "no-store"
    assert "unsafe" not in answer["Content-Security-Policy"]


def test_a_calendars_address_is_shown_once(book: Book):
    client = book.signed_in("advisor")
    made = client.post("/me/notices/calendar/", {"language": "en", "names": "on"})
    text = made.content.decode()
    start = text.index("/calendar/", text.index("http://127.0.0.1:8000"))
    path = text[start : text.index(".ics", start) + 4]
    assert client.get(path).status_code == 200
    assert "/calendar/" not in client.get(MINE).content.decode().replace(
        "/me/notices/calendar/", ""
    )
    with firm_scope(book.firm_id):
        assert CalendarFeed.objects.get().names
    assert client.post("/me/notices/calendar/revoke/").status_code == 302
    assert client.get(path).status_code == 404
    assert client.post("/me/notices/calendar/", {"language": "xx"}).status_code == 400


def test_a_dead_message_is_shown_without_its_content_and_sent_again(book: Book):
    row = dead_message(book.firm_id)
    client = book.signed_in("principal")
    text = client.get(MESSAGES).content.decode()
    for part in (ADVISOR, "SMTPDataError 554", "Given up"):
        assert part in text, part
    assert "the mail itself" not in text
    assert client.post(f"/messages/{row.pk}/retry/").status_code == 302
    with firm_scope(book.firm_id):
        again = OutboxMessage.objects.get()
        assert (again.state, again.attempt) == ("new", 0)
        assert AuditEvent.objects.filter(action="message.retry").count() == 1


def test_a_stranger_sees_and_moves_none_of_ours(book: Book):
    row = dead_message(book.firm_id)
    stranger = book.signed_in("stranger")
    assert ADVISOR not in stranger.get(MESSAGES).content.decode()
    theirs = stranger.post(f"/messages/{row.pk}/retry/")
    absent = stranger.post(f"/messages/{uuid.uuid4()}/retry/")
    assert theirs.status_code == absent.status_code == 404
    with firm_scope(book.firm_id):
        assert OutboxMessage.objects.get().state == "dead"


def test_details_in_mail_are_a_principals_switch(book: Book):
    path = "/messages/details/"
    assert book.signed_in("advisor").post(path, {"details": "on"}).status_code == 403
    book.signed_in("principal").post(path, {"details": "on"})
    with firm_scope(book.firm_id):
        assert NoticeRules.objects.get().details_in_mail
    with firm_scope(book.other_id):
        assert not NoticeRules.objects.exists()
    book.signed_in("principal").post(path, {})
    with firm_scope(book.firm_id):
        assert not NoticeRules.objects.get().details_in_mail


def test_an_endpoints_secret_is_shown_once(book: Book, settings):
    settings.WEBHOOK_ALLOW_LOOPBACK = True
    client = book.signed_in("principal")
    wrong = client.post(HOOKS, {"url": "https://10.0.0.1/x", "events": ["month.closed"]})
    assert wrong.status_code == 400
    assert "https://10.0.0.1/x" in wrong.content.decode()
    url = "http://127.0.0.1:9/x"
    made = client.post(HOOKS, {"url": url, "events": ["month.closed", "packet.issued"]})
    assert webhooks.PREFIX in made.content.decode()
    later = client.get(HOOKS).content.decode()
    assert webhooks.PREFIX not in later
    assert url in later
    with firm_scope(book.firm_id):
        row = WebhookEndpoint.objects.get()
    renewed = client.post(f"{HOOKS}{row.pk}/renew/").content.decode()
    assert webhooks.PREFIX in renewed
    assert book.signed_in("stranger").post(f"{HOOKS}{row.pk}/off/").status_code == 404
    assert client.post(f"{HOOKS}{row.pk}/off/").status_code == 302
    with firm_scope(book.firm_id):
        assert not WebhookEndpoint.objects.get().active


@pytest.mark.parametrize(
    "path",
    ["/me/notices/calendar/", "/me/notices/calendar/revoke/", "/messages/details/"],
)
def test_acts_are_not_pages(book: Book, path: str):
    assert book.signed_in("principal").get(path).status_code == 405
