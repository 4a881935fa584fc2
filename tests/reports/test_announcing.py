"""Closes and packets tell subscribers, in their own transaction, with ids and references alone."""

from __future__ import annotations

import json

import pytest

from config import audit
from config.database import firm_scope
from config.models import OutboxMessage
from ledger.models import Finding
from ledger.services.closing import asking
from planning.access import Access
from reports.packets.notice_words import EVENTS
from reports.packets.period import read_quarter
from reports.services import endpoints
from reports.services.packets import QuarterlyRequest, issue_quarterly
from tests.reports import sample
from tests.reports.conftest import CANARY, CANARY_REF, Book, load


@pytest.fixture
def subscribed(book: Book, settings) -> Book:
    """Our firm listens to everything, the other one to nothing."""
    settings.WEBHOOK_ALLOW_LOOPBACK = True
    settings.REDIS_URL = "redis://127.0.0.1:1/0"
    owner = Access.for_user(book.people["principal"])
    assert owner is not None
    endpoints.add_endpoint(access=owner, url="http://127.0.0.1:9/", events=EVENTS)
    return book


def told(firm_id) -> list[dict]:
    with firm_scope(firm_id):
        rows = OutboxMessage.objects.filter(channel="webhook").order_by("recorded_at", "pk")
        return [json.loads(one.content) for one in rows]


def close_again(book: Book, **changes) -> None:
    load(book.firm_id, sample.file(**changes))
    for work in asking.plan_work(
        month="2026-09", first="2026-07", firm="Fernhollow Advisory", household=None
    ):
        asking.close_here(work)


def test_a_close_tells_what_opened_what_ended_and_that_it_is_complete(subscribed: Book):
    with firm_scope(subscribed.firm_id):
        before = dict(Finding.objects.values_list("pk", "open"))
    close_again(subscribed, uses=[])
    with firm_scope(subscribed.firm_id):
        after = dict(Finding.objects.values_list("pk", "open"))
    opened = {str(pk) for pk, on in after.items() if on and not before.get(pk)}
    ended = {str(pk) for pk, on in after.items() if not on and before.get(pk)}
    assert opened
    assert ended
    messages = told(subscribed.firm_id)
    by_name: dict[str, set[str]] = {}
    for one in messages:
        by_name.setdefault(one["event"], set()).add(one["data"].get("finding", ""))
    assert by_name["finding.opened"] >= opened
    assert by_name["finding.closed"] >= ended
    months = [one["data"]["month"] for one in messages if one["event"] == "month.closed"]
    assert set(months) == {"2026-07", "2026-08", "2026-09"}
    assert len({one["id"] for one in messages}) == len(messages)
    text = json.dumps(messages)
    for hidden in (
        "Heron Quay",
        "missed-reborrow",
        "mixed-line",
        "unsupported",
        CANARY,
        CANARY_REF,
    ):
        assert hidden not in text, hidden
    assert told(subscribed.other_id) == []


def test_the_same_facts_closed_again_tell_nothing(subscribed: Book):
    close_again(subscribed)
    assert [one["event"] for one in told(subscribed.firm_id)] == []


def test_a_packet_tells_once(subscribed: Book):
    access = subscribed.access()
    for _ in range(2):
        with access.opened():
            request = QuarterlyRequest(ref=sample.REF, quarter=read_quarter("2026-Q3"))
            packet = issue_quarterly(access=access, request=request)
    (one,) = told(subscribed.firm_id)
    assert one["event"] == "packet.issued"
    assert one["data"] == {
        "packet": str(packet.pk),
        "household": sample.REF,
        "household_id": str(packet.household_id),
        "period": "2026-Q3",
        "version": "1",
    }


def test_what_is_rolled_back_was_never_told(subscribed: Book, monkeypatch):
    access = subscribed.access()
    request = QuarterlyRequest(ref=sample.REF, quarter=read_quarter("2026-Q3"))

    def fails(*_words, **_more):
        raise RuntimeError("the commit never comes")

    monkeypatch.setattr(audit, "digest_of", fails)
    with pytest.raises(RuntimeError), access.opened():
        issue_quarterly(access=access, request=request)
    assert told(subscribed.firm_id) == []
