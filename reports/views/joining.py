"""Joining a firm by an invitation's link."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from config.database import firm_scope
from config.problems import BadInput
from planning.access import NotVisibleError
from planning.services import invitations
from reports.people_words import refusal

HELD = "invitation"


@login_not_required
@require_safe
def join_link(request: HttpRequest, firm_id: UUID, invitation_id: UUID, token: str) -> HttpResponse:
    """Check the link, keep its token in the session and lead to an address without it."""
    try:
        with firm_scope(firm_id):
            invitations.find(firm_id=firm_id, invitation_id=invitation_id, token=token)
    except NotVisibleError:
        return _over(request)
    request.session[HELD] = [str(firm_id), str(invitation_id), token]
    answer = redirect("join")
    answer["Referrer-Policy"] = "no-referrer"
    return answer


@login_not_required
@require_http_methods(["GET", "HEAD", "POST"])
def join(request: HttpRequest) -> HttpResponse:
    """The invited person's name, language and password; or joining with the login they have."""
    held = request.session.get(HELD)
    if held is None:
        return _over(request)
    named = {"firm_id": UUID(held[0]), "invitation_id": UUID(held[1]), "token": held[2]}
    user = request.user if request.user.is_authenticated else None
    try:
        with firm_scope(named["firm_id"]):
            row = invitations.find(**named)
            firm = invitations.firm_of(row)
            known = invitations.login_of(row)
        page = {
            "firm": firm,
            "email": row.email,
            "known": known is not None,
            "ready": known is not None and user == known,
            "other": user is not None and user != known,
            "name": request.POST.get("name", row.name),
            "language": request.POST.get("language") or get_language() or row.language,
        }
        if request.method != "POST":
            return _shown(request, page)
        given = {name: request.POST.get(name, "") for name in ("name", "language", "password")}
        if known is not None:
            given = {}
        elif given["password"] != request.POST.get("again", ""):
            return _shown(request, page, [_("The two passwords differ.")])
        invitations.accept(user=user, **named, **given)
    except NotVisibleError:
        return _over(request)
    except BadInput as error:
        return _shown(request, page, [_(refusal(one)) for one in error.problems])
    del request.session[HELD]
    messages.success(request, _("You have joined. Sign in with your address and password."))
    return redirect("book" if user is not None else "login")


def _shown(request: HttpRequest, page: dict[str, object], faults: object = ()) -> HttpResponse:
    held = {"page": page, "faults": faults}
    return render(request, "reports/people/join.html", held, status=422 if faults else 200)


def _over(request: HttpRequest) -> HttpResponse:
    request.session.pop(HELD, None)
    return render(request, "reports/people/join_over.html", status=404)
