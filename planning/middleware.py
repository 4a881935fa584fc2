"""Each request runs as its user's firm, in one transaction that sees nothing else."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from planning.access import Access

Handler = Callable[[HttpRequest], HttpResponse]


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
        request.access = Access.for_user(request.user)
        if request.access is None:
            return self.get_response(request)
        with request.access.opened():
            return self.get_response(request)
