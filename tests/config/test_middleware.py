"""Headers on every answer, and sessions that end."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from django.http import HttpRequest, HttpResponse
from django.test import Client

from config.middleware import SEEN_AT, SIGNED_IN_AT, SessionLimits


@pytest.fixture
def answer(db: None) -> HttpResponse:
    return Client().get("/no-such-page/")


@pytest.mark.parametrize(
    ("header", "value"),
    [
        ("Cache-Control", "no-store"),
        ("Cross-Origin-Opener-Policy", "same-origin"),
        ("Cross-Origin-Resource-Policy", "same-origin"),
        ("Referrer-Policy", "same-origin"),
        ("X-Content-Type-Options", "nosniff"),
        ("X-Frame-Options", "DENY"),
    ],
)
def test_every_answer_carries(answer: HttpResponse, header: str, value: str):
    assert answer[header] == value


def test_the_content_policy_allows_nothing_inline_and_no_stranger(answer: HttpResponse):
    policy = answer["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy


def test_each_answer_has_its_own_id(answer: HttpResponse, db: None):
    assert answer["X-Request-ID"] != Client().get("/no-such-page/")["X-Request-ID"]


class Session(dict):
    """A session without a database."""

    def flush(self) -> None:
        self.clear()

    def cycle_key(self) -> None:
        """Nothing to renew."""


def judged(session: Session, now: int) -> Session:
    """What the middleware leaves of a signed-in session at a moment."""
    request = HttpRequest()
    request.session = session  # type: ignore[assignment]
    request.user = SimpleNamespace(is_authenticated=True, pk=1)  # type: ignore[assignment]
    SessionLimits(lambda _: HttpResponse()).judge(request, now)
    return session


def test_a_fresh_session_is_stamped():
    assert judged(Session(), 1_000) == {SIGNED_IN_AT: 1_000, SEEN_AT: 1_000}


def test_reading_within_a_minute_writes_nothing():
    session = Session({SIGNED_IN_AT: 1_000, SEEN_AT: 1_000})
    assert judged(session, 1_059)[SEEN_AT] == 1_000
    assert judged(session, 1_060)[SEEN_AT] == 1_060


def test_half_an_hour_of_silence_ends_the_session():
    assert judged(Session({SIGNED_IN_AT: 0, SEEN_AT: 0}), 1_800) != {}
    assert judged(Session({SIGNED_IN_AT: 0, SEEN_AT: 0}), 1_801) == {}


def test_twelve_hours_end_the_session_however_busy():
    noon = 12 * 3600
    assert judged(Session({SIGNED_IN_AT: 0, SEEN_AT: noon}), noon) != {}
    assert judged(Session({SIGNED_IN_AT: 0, SEEN_AT: noon}), noon + 1) == {}
