"""Digests: whose turn it is, what they say, and what they never say."""

from __future__ import annotations

from datetime import UTC, date, datetime
from email import message_from_string
from email.message import Message

import pytest
import time_machine

from config import delivery
from config.database import firm_scope
from config.models import OutboxMessage
from config.problems import BadInput
from planning.access import Access
from planning.models import Membership
from reports.models import NoticePreference
from reports.selectors.digest import digest_of
from reports.services import digests, notices
from tests.reports.conftest import ADVISOR, CANARY, CANARY_REF, Book
from tests.reports.sample import REF
from tests.sinks import mail_sink

MONDAY, TUESDAY = date(2026, 11, 23), date(2026, 11, 24)
CAUTION = "Not tax, legal or investment advice"


def local(day: int, hour: int, minute: int = 0) -> datetime:
    """A time of November 2026 on the firm's own clock, as the database gives it: without a zone."""
    return datetime(2026, 11, day, hour, minute)  # noqa: DTZ001 - see above


SEVEN = local(24, 7)


@pytest.fixture(autouse=True)
def _no_broker(settings):
    settings.REDIS_URL = "redis://127.0.0.1:1/0"


def access(book: Book, role: str) -> Access:
    found = Access.for_user(book.people[role])
    assert found is not None
    return found


def wish(book: Book, role: str, digest: str = "daily", language: str = "en") -> Access:
    """Set a member's preference, as if long ago."""
    who = access(book, role)
    notices.set_preference(access=who, digest=digest, language=language)
    with who.opened():
        NoticePreference.objects.filter(membership_id=who.membership_id).update(
            changed_at=datetime(2026, 1, 1, tzinfo=UTC)
        )
    return who


def made(who: Access, day: date = TUESDAY) -> Message:
    """A member's digest of a day as mail."""
    digests.make_digest(firm_id=who.firm_id, membership_id=who.membership_id, day=day)
    with who.opened():
        key = digests.dedupe_key(who.membership_id, day)
        row = OutboxMessage.objects.get(dedupe_key=key)
    return message_from_string(row.content)


def words(mail: Message) -> str:
    """Subject, text and HTML, with ordinary spaces."""
    parts = [one.get_payload(decode=True).decode("utf-8") for one in mail.get_payload()]
    return " ".join([str(mail["Subject"]), *parts]).replace("\u00a0", " ")


def due(who: Access, now: datetime) -> list[date]:
    with who.opened():
        return [day for member, day in digests.due_digests(now) if member == who.membership_id]


def test_it_counts_what_the_desk_shows_and_links_there(book: Book, settings):
    settings.PUBLIC_URL = "https://towpath.example"
    text = words(made(wish(book, "advisor")))
    assert "What needs you today" in text
    assert "Act: " in text
    assert f"https://towpath.example/households/{REF}/" in text
    assert "https://towpath.example/me/notices/" in text
    assert CAUTION in text


def test_without_the_firms_leave_it_names_no_client_and_no_amount(book: Book):
    who = wish(book, "advisor")
    text = words(made(who))
    assert REF in text
    assert "Heron Quay" not in text
    assert "$" not in text
    notices.set_details(access=access(book, "principal"), details=True)
    text = words(made(who, date(2026, 11, 26)))
    assert "Heron Quay" in text
    assert "$3,000.00" in text
    notices.set_details(access=access(book, "principal"), details=False)
    assert "Heron Quay" not in words(made(who, date(2026, 11, 27)))


def test_the_figures_are_those_of_the_findings(book: Book):
    who = access(book, "advisor")
    with who.opened():
        found = digest_of(who, TUESDAY)
    (entry,) = found.entries
    assert entry.ref == REF
    assert found.households == 1
    for total, one in zip(found.severities, entry.findings, strict=True):
        assert total == {name: one[name] for name in ("severity", "count", "dollars")}
    assert {one["severity"]: one["dollars"] for one in found.severities}["act"] == "3000.00"
    assert found.renewals == 1
    assert entry.renewals[0]["days"] == 111
    assert found.reborrow == len(entry.reborrow)


def test_reborrow_instructions_are_those_of_the_coming_week(book: Book):
    who = access(book, "advisor")
    with who.opened():
        near = digest_of(who, date(2026, 10, 12)).entries[0].reborrow
        far = digest_of(who, date(2026, 10, 20)).entries[0].reborrow
    assert [one["date"] for one in near if one["kind"] == "reborrow"] == ["2026-10-15"]
    assert [one["date"] for one in far if one["kind"] == "reborrow"] == []


def test_in_french(book: Book):
    mail = made(wish(book, "advisor", language="fr"))
    text = words(mail)
    assert mail["Content-Language"] == "fr"
    for part in ("Ce qui vous attend aujourd’hui", "24 novembre 2026", "Ni conseil fiscal"):
        assert part in text, part
    assert "What needs you" not in text


def test_a_stranger_gets_their_own_book_alone(book: Book):
    ours = words(made(wish(book, "principal")))
    theirs = words(made(wish(book, "stranger")))
    assert CANARY_REF not in ours
    assert CANARY_REF in theirs
    for text in (ours, theirs):
        assert CANARY not in text
    assert REF not in theirs


def test_a_digest_of_a_day_is_written_once(book: Book):
    who = wish(book, "advisor")
    first = made(who)
    ids = {"firm_id": who.firm_id, "membership_id": who.membership_id}
    assert not digests.make_digest(**ids, day=TUESDAY)
    assert made(who).as_string() == first.as_string()
    assert due(who, SEVEN) == []
    with firm_scope(book.other_id):
        assert OutboxMessage.objects.count() == 0


def test_whose_turn_it_is(book: Book):
    who = wish(book, "advisor")
    assert due(who, local(24, 5, 59)) == []
    assert due(who, SEVEN) == [TUESDAY]
    who = wish(book, "advisor", "weekly")
    assert due(who, local(23, 6)) == [MONDAY]
    assert due(who, SEVEN) == [MONDAY]  # Monday was missed: it is made up
    made(who, MONDAY)
    assert due(who, SEVEN) == []
    who = wish(book, "advisor", "off")
    assert due(who, SEVEN) == []


def test_who_asks_for_mondays_on_a_tuesday_waits(book: Book):
    who = wish(book, "advisor", "weekly")
    with who.opened():
        NoticePreference.objects.update(changed_at=datetime(2026, 11, 24, 15, tzinfo=UTC))
    assert due(who, local(24, 18)) == []
    assert due(who, local(30, 6)) == [date(2026, 11, 30)]


def test_the_day_is_the_firms_own(book: Book):
    from planning.models import Firm

    with firm_scope(book.firm_id):
        Firm.objects.update(timezone="Pacific/Kiritimati")
        east = digests.firm_now()
        Firm.objects.update(timezone="Pacific/Pago_Pago")
        west = digests.firm_now()
    assert round((east - west).total_seconds() / 3600) == 25


def test_nobody_who_left_gets_a_digest(book: Book):
    who = wish(book, "advisor")
    with who.opened():
        Membership.objects.filter(pk=who.membership_id).update(active=False)
    ids = {"firm_id": who.firm_id, "membership_id": who.membership_id}
    assert not digests.make_digest(**ids, day=TUESDAY)
    with who.opened():
        Membership.objects.filter(pk=who.membership_id).update(active=True)
    assert not digests.make_digest(
        firm_id=book.other_id, membership_id=who.membership_id, day=MONDAY
    )
    assert digests.make_digest(**ids, day=TUESDAY)


def test_bad_wishes_are_named(book: Book):
    with pytest.raises(BadInput) as refused:
        notices.set_preference(access=access(book, "advisor"), digest="hourly", language="de")
    assert [one.where for one in refused.value.problems] == ["digest", "language"]


def test_it_arrives(book: Book, settings):
    with mail_sink() as sink:
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", sink.port
        who = wish(book, "advisor")
        made(who)
        with who.opened():
            row = OutboxMessage.objects.get()
        assert delivery.send_message(firm_id=who.firm_id, message_id=row.pk) == "sent"
        assert sink.received == [row.content.encode()]
        assert ADVISOR in sink.recipients[0]


def test_preparing_sends_ids_and_days_alone(book: Book, monkeypatch):
    who = wish(book, "advisor")
    hints: list[tuple[str, ...]] = []

    def hint(*said: str, queue: str) -> bool:
        hints.append(said)
        return queue == "mail"

    monkeypatch.setattr(digests, "send_hint", hint)
    monkeypatch.setattr(digests, "firm_now", lambda: SEVEN)
    assert digests.prepare_all() == 1
    assert hints == [(digests.MAKE, str(who.firm_id), str(who.membership_id), TUESDAY.isoformat())]


def test_the_wall_clock_of_this_process_decides_nothing(book: Book):
    who = wish(book, "advisor")
    with time_machine.travel("2031-01-01"):
        mail = made(who)
    assert mail["Date"] == "Tue, 24 Nov 2026 11:00:00 +0000"
