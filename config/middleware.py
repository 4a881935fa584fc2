"""What every request passes: a log line, headers for private pages, limits on sessions."""

from __future__ import annotations

import time
import uuid
from collections.abc import Callable

import structlog
from django.conf import settings
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse

Handler = Callable[[HttpRequest], HttpResponse]
log = structlog.get_logger("towpath.request")

PERMISSIONS_POLICY = (
    "accelerometer=(), camera=(), display-capture=(), fullscreen=(self), geolocation=(), "
    "gyroscope=(), magnetometer=(), microphone=(), midi=(), payment=(), usb=()"
)
SIGNED_IN_AT = "signed_in_at"
SEEN_AT = "seen_at"
SEEN_STEP_SECONDS = 60


class RequestLog:
    """Gives each request an id and writes one line about it, without its path or query.

    The route's pattern is logged, not the address: an address may carry a code.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer, with the id in `X-Request-ID` and in every line logged on the way."""
        request_id = uuid.uuid4().hex
        structlog.contextvars.clear_contextvars()
        structlog.contextvars.bind_contextvars(request_id=request_id)
        begun = time.perf_counter()
        response = self.get_response(request)
        match = request.resolver_match
        log.info(
            "request",
            method=request.method,
            route=match.route if match else "",
            status=response.status_code,
            duration_ms=round((time.perf_counter() - begun) * 1000, 1),
        )
        response["X-Request-ID"] = request_id
        return response


class PrivacyHeaders:
    """Keeps private answers out of every cache and browser features switched off."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer with the headers that Django has no setting for."""
        response = self.get_response(request)
        response.setdefault("Permissions-Policy", PERMISSIONS_POLICY)
        response.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        if not request.path.startswith(settings.STATIC_URL):
            response.setdefault("Cache-Control", "no-store")
        return response


class SessionLimits:
    """Ends a session that idled too long or has lived its day.

    Times sit in the session itself; the last-seen mark moves at most once a
    minute, so that reading pages does not write a row each time.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Sign out a stale session before any view sees it."""
        if request.user.is_authenticated:
            self.judge(request, int(time.time()))
        return self.get_response(request)

    def judge(self, request: HttpRequest, now: int) -> None:
        """Stamp, refresh or end the session at Unix time `now`."""
        begun = request.session.setdefault(SIGNED_IN_AT, now)
        seen = request.session.get(SEEN_AT, now)
        idle = now - seen > settings.SESSION_IDLE_SECONDS
        old = now - begun > settings.SESSION_ABSOLUTE_SECONDS
        if idle or old:
            logout(request)
        elif SEEN_AT not in request.session or now - seen >= SEEN_STEP_SECONDS:
            request.session[SEEN_AT] = now
