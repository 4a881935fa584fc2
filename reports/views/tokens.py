"""A member's tokens for programs: make one, see them, revoke."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from allauth.account.decorators import reauthentication_required
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST

from config.problems import BadInput
from planning.api.scopes import scopes_of_role
from planning.selectors.tokens import own_tokens
from planning.services import tokens as services
from reports.views.guard import needs

LIVES = (7, 30, 90, 180, 365)
SCOPE_WORDS = {
    "read:household": gettext_lazy("Read households and their files"),
    "read:ledger": gettext_lazy("Read statements, draws, papers, months and runs"),
    "read:finding": gettext_lazy("Read findings"),
    "read:plan": gettext_lazy("Read plans, try changes, compute tax"),
    "read:packet": gettext_lazy("Read packets"),
    "write:household": gettext_lazy("Load household files"),
    "write:statement": gettext_lazy("Import statements"),
    "write:use": gettext_lazy("Decide uses and hand in papers"),
    "write:close": gettext_lazy("Close months"),
    "write:finding": gettext_lazy("Work on findings"),
    "write:plan": gettext_lazy("Save plans"),
    "write:packet": gettext_lazy("Issue packets"),
}
FAULTS = {
    "name": gettext_lazy("Give the token a name of at most 80 characters; at most 20 may live."),
    "scopes": gettext_lazy("Choose what the token may do, from the list."),
    "days": gettext_lazy("Choose how long the token lives, from the list."),
}


@require_http_methods(["GET", "HEAD", "POST"])
@needs("token.own")
@reauthentication_required
def my_tokens(request: HttpRequest) -> HttpResponse:
    """The tokens; POST makes one, shown in this answer and never again."""
    if request.method != "POST":
        return _page(request)
    try:
        days = int(request.POST.get("days", ""))
    except ValueError:
        days = 0
    try:
        _row, secret = services.make_token(
            access=request.access,
            name=request.POST.get("name", ""),
            scopes=request.POST.getlist("scope"),
            days=days,
        )
    except BadInput as error:
        faults = list(dict.fromkeys(FAULTS[one.where] for one in error.problems))
        return _page(request, status=422, faults=faults)
    return _page(request, secret=secret)


@require_POST
@needs("token.own")
def revoke_token(request: HttpRequest, token_id: UUID) -> HttpResponse:
    """Make a token dead at once."""
    services.revoke_token(access=request.access, token_id=token_id)
    messages.success(request, _("The token no longer works."))
    return redirect("my_tokens")


def _page(request: HttpRequest, status: int = 200, **more: Any) -> HttpResponse:
    scopes = [(one, SCOPE_WORDS[one]) for one in scopes_of_role(request.access.role)]
    held = {
        "tokens": own_tokens(request.access),
        "scopes": scopes,
        "lives": LIVES,
        "here": "tokens",
        "typed": {"name": request.POST.get("name", ""), "scope": request.POST.getlist("scope")},
    }
    return render(request, "reports/tokens/mine.html", held | more, status=status)
