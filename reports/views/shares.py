"""What is shown to accountants, who gives it, and who saw a household."""

from __future__ import annotations

import time
from typing import Any
from uuid import UUID

from allauth.account.decorators import reauthentication_required
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from config.problems import BadInput
from planning.middleware import GRANT
from planning.selectors.sightings import sightings_of
from planning.services import grants as services
from reports.people_words import KIND_WORDS, ROLE_WORDS, refusal
from reports.selectors.people import grants_page, shared_page
from reports.views.guard import needs

confirmed = reauthentication_required(allow_get=True)
SHOWN = 500


@require_http_methods(["GET", "HEAD", "POST"])
@needs("grant.manage")
@confirmed
def shares(request: HttpRequest, ref: str) -> HttpResponse:
    """A household's accountants; POST gives one a year of it."""
    if request.method != "POST":
        return _shares(request, ref)
    form: dict[str, Any] = {name: request.POST.get(name, "") for name in ("name", "email")}
    for name, usual in (("year", 0), ("days", services.DEFAULT_DAYS), ("max_uses", 10)):
        form[name] = _number(request.POST.get(name, ""), usual)
    member = request.POST.get("member", "")
    try:
        form["member_id"] = UUID(member) if member else None
        row, code = services.grant(access=request.access, ref=ref, **form)
    except ValueError:
        return _shares(request, ref, status=422, faults=[_("Choose an accountant from the list.")])
    except BadInput as error:
        faults = [_(refusal(one)) for one in error.problems]
        return _shares(request, ref, status=422, faults=faults, typed=form)
    if code:
        return _shares(request, ref, code=code, link=_link(request, row.pk))
    messages.success(request, _("The accountant sees it after signing in."))
    return redirect("shares", ref=ref)


@require_POST
@needs("grant.manage")
@confirmed
def share_act(request: HttpRequest, ref: str, grant_id: UUID) -> HttpResponse:
    """End an accountant's access, or make a new code for it."""
    if request.POST.get("act") == "code":
        try:
            code = services.new_code(access=request.access, grant_id=grant_id)
        except BadInput as error:
            faults = [_(refusal(one)) for one in error.problems]
            return _shares(request, ref, status=422, faults=faults)
        return _shares(request, ref, code=code, link=_link(request, grant_id))
    services.revoke_grant(access=request.access, grant_id=grant_id)
    messages.success(request, _("The access has ended."))
    return redirect("shares", ref=ref)


@require_safe
@needs("grant.own")
def shared(request: HttpRequest) -> HttpResponse:
    """What an accountant may read now."""
    page = shared_page(request.access)
    return render(request, "reports/people/shared.html", {"page": page, "here": "shared"})


@login_not_required
@require_http_methods(["GET", "HEAD", "POST"])
def enter(request: HttpRequest, firm_id: UUID, grant_id: UUID) -> HttpResponse:
    """Ask for the code; a right one opens a session of 30 minutes. The address opens nothing."""
    fault = False
    if request.method == "POST" and not request.user.is_authenticated:
        code = request.POST.get("code", "").replace(" ", "")
        if services.enter(firm_id=firm_id, grant_id=grant_id, code=code):
            request.session.cycle_key()
            request.session[GRANT] = [str(firm_id), str(grant_id), int(time.time())]
            return redirect("shared")
        fault = True
    held = {"fault": fault, "signed_in": request.user.is_authenticated}
    return render(request, "reports/people/enter.html", held, status=422 if fault else 200)


@require_safe
@needs("sighting.view")
def seen(request: HttpRequest, ref: str) -> HttpResponse:
    """Who was shown this household: pages by the hour, and every file."""
    household = request.access.household(ref)
    rows = [
        {
            "name": one.name,
            "role": ROLE_WORDS[one.role],
            "kind": KIND_WORDS[one.kind],
            "route": one.route,
            "at": one.at,
        }
        for one in sightings_of(request.access, ref, most=SHOWN)
    ]
    page = {"ref": household.ref, "name": household.name, "rows": rows, "most": SHOWN}
    return render(request, "reports/people/seen.html", {"page": page, "here": "book"})


def _number(text: str, usual: int) -> int:
    if not text.strip():
        return usual
    return int(text) if text.isascii() and text.isdigit() and len(text) < 6 else -1


def _link(request: HttpRequest, grant_id: UUID) -> str:
    return settings.PUBLIC_URL + reverse("enter", args=[request.access.firm_id, grant_id])


def _shares(request: HttpRequest, ref: str, status: int = 200, **more: Any) -> HttpResponse:
    context = {"page": grants_page(request.access, ref), "here": "book"} | more
    return render(request, "reports/people/shares.html", context, status=status)
