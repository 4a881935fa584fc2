"""Limits on tries, counted in PostgreSQL so that every process sees the same number.

A window opens with the first try and is over after its seconds; nothing is
locked for longer than that, so a stranger cannot shut anybody out for good.
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from django.conf import settings
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

# One statement: two processes that count at once wait for each other at the row.
_COUNT = """
INSERT INTO config_ratecount AS one (key, window_ends, count)
VALUES (%(key)s, clock_timestamp() + make_interval(secs => %(seconds)s), 1)
ON CONFLICT (key) DO UPDATE SET
  count = CASE WHEN one.window_ends <= clock_timestamp() THEN 1 ELSE one.count + 1 END,
  window_ends = CASE WHEN one.window_ends <= clock_timestamp()
    THEN excluded.window_ends ELSE one.window_ends END
RETURNING count
"""
_FORGET = "UPDATE config_ratecount SET count = count - 1 WHERE key = %s AND count > 0"
_SWEEP = """
DELETE FROM config_ratecount WHERE key IN (
  SELECT key FROM config_ratecount WHERE window_ends < clock_timestamp() - interval '1 day'
  LIMIT 100 FOR UPDATE SKIP LOCKED)
"""


@dataclass(frozen=True, slots=True)
class Limit:
    """At most `tries` in `seconds`, counted by `name` and whatever the caller adds."""

    name: str
    tries: int
    seconds: int

    def key(self, *parts: str) -> str:
        """The row's key: a keyed hash, so that a copy of the table names nobody."""
        text = "\x1f".join((self.name, *(part.strip().casefold() for part in parts)))
        return hmac.new(settings.SECRET_KEY.encode(), text.encode(), hashlib.sha256).hexdigest()

    def allows(self, *parts: str) -> bool:
        """Count one try; whether it is within the limit."""
        with connection.cursor() as cursor:
            cursor.execute(_COUNT, {"key": self.key(*parts), "seconds": self.seconds})
            count: int = cursor.fetchone()[0]
            if count == 1:
                cursor.execute(_SWEEP)
        return count <= self.tries

    def forget(self, *parts: str) -> None:
        """Take one try back: it turned out to be the right person's."""
        with connection.cursor() as cursor:
            cursor.execute(_FORGET, [self.key(*parts)])


# Common practice; the figures are the product's own choice.
SIGN_IN_ACCOUNT = Limit("sign-in account from an address", 5, 15 * 60)
SIGN_IN_EVERYWHERE = Limit("sign-in account from everywhere", 100, 60 * 60)
API_TOKEN = Limit("interface token", 600, 60)
BY_ROUTE: Mapping[str, Limit] = {
    "account_login": Limit("sign-in address", 50, 15 * 60),
    "account_reauthenticate": Limit("password again", 10, 15 * 60),
    "account_reset_password": Limit("reset", 3, 60 * 60),
    "account_reset_password_from_key": Limit("reset link", 10, 60 * 60),
    "account_change_password": Limit("password change", 10, 60 * 60),
    "mfa_authenticate": Limit("second factor", 5, 15 * 60),
    "mfa_reauthenticate": Limit("second factor again", 10, 15 * 60),
    "mfa_activate_totp": Limit("second factor set-up", 20, 60 * 60),
    "join": Limit("joining", 20, 60 * 60),
    "enter": Limit("accountant's code", 20, 60 * 60),
    "mfa_login_webauthn": Limit("passkey", 30, 15 * 60),
}


def address_of(request: HttpRequest) -> str:
    """The caller's address: the proxy's word for it only where a proxy is configured."""
    forwarded = request.headers.get("X-Forwarded-For", "")
    if settings.ALLAUTH_TRUSTED_PROXY_COUNT and forwarded:
        return forwarded.rpartition(",")[2].strip()
    return str(request.META.get("REMOTE_ADDR", ""))


class Rates:
    """Answers 429 when a form is sent too often; `BY_ROUTE` says which and how often."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on; the view is judged in `process_view`."""
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *_view: object) -> HttpResponse | None:
        """Count a form that was sent; answer in the view's place when it is one too many."""
        match = request.resolver_match
        limit = BY_ROUTE.get(match.url_name or "") if match else None
        if limit is None or request.method != "POST":
            return None
        if limit.allows(address_of(request), str(request.user.pk or "")):
            return None
        answer = render(request, "429.html", {"minutes": limit.seconds // 60}, status=429)
        answer["Retry-After"] = str(limit.seconds)
        return answer
