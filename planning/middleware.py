"""Each request runs as its user's firm, in one transaction that sees nothing else."""

from __future__ import annotations

import time
from collections.abc import Callable
from uuid import UUID

from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.http import HttpRequest, HttpResponse

from planning.access import Access

Handler = Callable[[HttpRequest], HttpResponse]

GRANT = "grant"
GRANT_SECONDS = 30 * 60
# What somebody may open who came in by a grant's code.
GRANT_ROUTES = frozenset({"shared", "packet", "trace_year"})


class FirmOfUser:
    """Puts `request.access` there and opens the firm's scope around the whole answer.

    A deferred template is rendered inside too. A user without a membership, and
    nobody at all, have `request.access` None and no firm in scope: every firm's
    rows are out of reach. A view that fails has rolled back its own savepoint.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer within the user's firm."""
        request.access = Access.for_user(request.user) or self.granted(request)
        if request.access is None:
            return self.get_response(request)
        with request.access.opened():
            return self.get_response(request)

    def granted(self, request: HttpRequest) -> Access | None:
        """The access of a session that a grant's code opened, 30 minutes at most."""
        held = None if request.user.is_authenticated else request.session.get(GRANT)
        if held is None:
            return None
        firm_id, grant_id, begun = held
        access = None
        if 0 <= time.time() - begun < GRANT_SECONDS:
            access = Access.for_grant(UUID(firm_id), UUID(grant_id))
        if access is None:
            del request.session[GRANT]
        return access


class SignedInOrGranted(LoginRequiredMiddleware):
    """Sign-in required for every page, but for the few that a grant's session may read."""

    def process_view(self, request: HttpRequest, *view: object) -> HttpResponse | None:
        """Lead to the sign-in page whoever has neither a login nor a grant for this page."""
        access, match = getattr(request, "access", None), request.resolver_match
        held = access is not None and access.grant_id is not None
        if held and match and match.url_name in GRANT_ROUTES and request.method in ("GET", "HEAD"):
            return None
        return super().process_view(request, *view)
