"""The calendar by its secret address: form, dates, and who may read it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from icalendar import Calendar

from config.models import User
from ledger.mapping import household_value
from planning.access import Access
from planning.models import Membership
from reports.calendars import calendar_bytes
from reports.models import CalendarFeed
from reports.packets.instructions import renewals_ahead
from reports.selectors.ahead import households_ahead
from reports.selectors.dates import dates_of
from reports.selectors.digest import reborrow_dates
from reports.services import notices
from tests.reports.conftest import CANARY, CANARY_REF, Book
from tests.reports.sample import REF

TODAY = date(2026, 10, 5)


def access(book: Book, role: str) -> Access:
    found = Access.for_user(book.people[role])
    assert found is not None
    return found


def feed(book: Book, role: str = "advisor", language: str = "en", *, names: bool = False) -> str:
    token = notices.make_feed(access=access(book, role), language=language, names=names)
    return f"/calendar/{token}.ics"


def read(content: bytes) -> list:
    return Calendar.from_ical(content).walk("VEVENT")


def drawn(book: Book, day: date = TODAY, language: str = "en", *, names: bool = False) -> bytes:
    who = access(book, "advisor")
    with who.opened():
        return calendar_bytes(dates_of(who, day), today=day, language=language, names=names)


def test_it_answers_without_a_sign_in_and_is_kept_nowhere(book: Book):
    answer = Client().get(feed(book))
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert answer["Cache-Control"] == "no-store"
    assert len(read(answer.content)) > 3


def test_lines_are_folded_and_end_in_crlf(book: Book):
    who = access(book, "advisor")
    with who.opened():
        dates = tuple(replace(one, name="Les Éclusières " * 9) for one in dates_of(who, TODAY))
    content = calendar_bytes(dates, today=TODAY, language="fr", names=True)
    assert content.endswith(b"END:VCALENDAR\r\n")
    assert content.count(b"\n") == content.count(b"\r\n") == content.count(b"\r")
    lines = content.split(b"\r\n")
    assert max(map(len, lines)) <= 75
    assert any(line.startswith(b" ") for line in lines)
    for line in lines:
        line.decode("utf-8")  # no fold inside a letter
    for name in ("VERSION", "PRODID"):
        assert Calendar.from_ical(content)[name]


def test_events_by_kind(book: Book):
    events = {str(one["SUMMARY"]): one for one in read(drawn(book))}
    renewal = events[f"{REF}: mortgage renewal (mtg)"]
    assert renewal["DTSTART"].dt == date(2027, 3, 15)
    assert renewal["DTEND"].dt == date(2027, 3, 16)
    alarms = [one["TRIGGER"].dt for one in renewal.walk("VALARM")]
    assert alarms == [timedelta(days=-days) for days in (120, 60, 21)]
    days = [one["DTSTART"].dt for one in read(drawn(book)) if "re-borrow" in one["SUMMARY"]]
    assert days == [date(2026, 10, 15), date(2026, 11, 15), date(2026, 12, 15)]
    assert events["last day for the statements of September\u00a02026"]["DTSTART"].dt == date(
        2026, 10, 10
    )
    quarters = [str(one["SUMMARY"]) for one in read(drawn(book)) if "packets" in one["SUMMARY"]]
    assert [one.replace("\u00a0", " ") for one in quarters] == [
        f"end of {one}: packets" for one in ("Q4 2026", "Q1 2027", "Q2 2027", "Q3 2027")
    ]


def test_every_event_has_what_the_standard_asks_and_its_own_uid(book: Book):
    events = read(drawn(book))
    uids = [str(one["UID"]) for one in events]
    assert len(set(uids)) == len(uids)
    for one in events:
        assert {"UID", "DTSTAMP", "DTSTART", "SUMMARY"} <= set(one)


def test_uids_stay_and_the_same_day_gives_the_same_bytes(book: Book):
    assert drawn(book) == drawn(book)
    later = {str(one["UID"]): one for one in read(drawn(book, TODAY + timedelta(days=3)))}
    for one in read(drawn(book, language="fr")):
        assert str(one["UID"]) in later
        assert later[str(one["UID"])]["DTSTART"].dt == one["DTSTART"].dt


def test_no_name_and_no_amount_unless_asked(book: Book):
    content = drawn(book).replace(b"\r\n ", b"")
    assert REF.encode() in content
    assert b"Heron Quay" not in content
    assert b"$" not in content
    assert b"Heron Quay" in drawn(book, names=True).replace(b"\r\n ", b"")


def test_in_french(book: Book):
    text = drawn(book, language="fr").replace(b"\r\n ", b"").decode()
    assert f"{REF}: renouvellement du prêt hypothécaire (mtg)" in text
    assert "renewal (" not in text


def test_a_stranger_s_feed_is_their_own(book: Book):
    theirs = Client().get(feed(book, "stranger")).content.replace(b"\r\n ", b"")
    ours = Client().get(feed(book, "principal", names=True)).content.replace(b"\r\n ", b"")
    assert CANARY_REF.encode() in theirs
    assert REF.encode() not in theirs
    assert CANARY_REF.encode() not in ours
    assert CANARY.encode() not in ours + theirs


def test_a_wrong_address_is_not_found(book: Book):
    path = feed(book)
    token = path[len("/calendar/") : -len(".ics")]
    other = notices._new_token(book.firm_id)
    elsewhere = notices._new_token(book.other_id)[:22] + token[22:]
    for wrong in (other, elsewhere, token[:-1], token + "A", "x", "é" * 64, "-" * 64, "%00"):
        assert Client().get(f"/calendar/{wrong}.ics").status_code == 404, wrong
    assert Client().get(path).status_code == 200
    assert Client().post(path).status_code == 405


def test_a_new_address_ends_the_one_before_and_revoking_ends_it_all(book: Book):
    first = feed(book)
    second = feed(book)
    assert Client().get(first).status_code == 404
    assert Client().get(second).status_code == 200
    notices.revoke_feed(access=access(book, "advisor"))
    assert Client().get(second).status_code == 404
    notices.revoke_feed(access=access(book, "advisor"))


def test_standing_is_asked_anew_each_time(book: Book):
    path = feed(book)
    who = access(book, "advisor")
    with who.opened():
        Membership.objects.filter(pk=who.membership_id).update(active=False)
    assert Client().get(path).status_code == 404
    with who.opened():
        Membership.objects.filter(pk=who.membership_id).update(active=True, role="client")
    assert Client().get(path).status_code == 404
    with who.opened():
        Membership.objects.filter(pk=who.membership_id).update(role="advisor")
    assert Client().get(path).status_code == 200
    User.objects.filter(pk=book.people["advisor"].pk).update(is_active=False)
    assert Client().get(path).status_code == 404


def test_the_token_is_not_kept(book: Book):
    path = feed(book)
    with access(book, "advisor").opened():
        kept = str(list(CalendarFeed.objects.values()))
    assert path[len("/calendar/") : -len(".ics")] not in kept


def test_too_many_requests_are_turned_away(book: Book):
    path = feed(book)
    with access(book, "advisor").opened():
        CalendarFeed.objects.update(asked=notices.ASKED_AT_MOST - 1)
    assert Client().get(path).status_code == 200
    answer = Client().get(path)
    assert answer.status_code == 429
    assert answer["Retry-After"] == "600"
    with access(book, "advisor").opened():
        CalendarFeed.objects.update(window_at="2020-01-01T00:00:00Z")
    assert Client().get(path).status_code == 200


def test_clients_have_no_calendar(book: Book):
    with pytest.raises(PermissionDenied):
        feed(book, "client")


def test_a_book_without_households_has_an_empty_calendar(book: Book):
    who = access(book, "assistant")
    with who.opened():
        from planning.models import Delegation

        Delegation.objects.all().update(advisor_id=access(book, "principal").membership_id)
        assert dates_of(who, TODAY) == ()
        content = calendar_bytes((), today=TODAY, language="en", names=False)
    assert read(content) == []


def test_no_token_reaches_the_log(book: Book, caplog):
    path = feed(book)
    with access(book, "advisor").opened():
        CalendarFeed.objects.update(asked=notices.ASKED_AT_MOST)
    with caplog.at_level("DEBUG"):
        assert Client().get(path).status_code == 429
        assert Client().get(path[:-4]).status_code == 404
        assert Client().post(path).status_code == 405
        notices.revoke_feed(access=access(book, "advisor"))
        assert Client().get(path).status_code == 404
    assert "Too Many Requests: (address)" in caplog.text
    assert path[10:40] not in caplog.text


def test_looking_ahead_from_balances_alone_gives_the_same(book: Book):
    who = access(book, "principal")
    with who.opened():
        rows = list(who.households())
        for row, light in households_ahead(rows):
            full = household_value(row)
            assert light.statements
            assert not any(one.entries for one in light.statements)
            last = date(2027, 3, 31)
            found = reborrow_dates(light, [], TODAY, last)
            assert found == reborrow_dates(full, [], TODAY, last)
            assert len(found) == 6
            assert renewals_ahead(light, TODAY) == renewals_ahead(full, TODAY)
