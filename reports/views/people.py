"""A principal's pages about people: inviting, switching off, roles, whose household is whose."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from allauth.account.decorators import reauthentication_required
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from config.problems import BadInput
from planning.services import invitations
from planning.services import people as services
from reports.people_words import refusal
from reports.selectors.people import people_page, person_page
from reports.services import admission
from reports.views.guard import needs

confirmed = reauthentication_required(allow_get=True)


def ids(request: HttpRequest, name: str) -> list[UUID]:
    """The ids of a form's field; what is none is left out and the service misses it."""
    found = []
    for one in request.POST.getlist(name):
        try:
            found.append(UUID(one))
        except ValueError:
            found.append(UUID(int=0))
    return found


@require_http_methods(["GET", "HEAD", "POST"])
@needs("people.manage")
@confirmed
def people(request: HttpRequest) -> HttpResponse:
    """Everybody in the firm; POST invites an address."""
    if request.method != "POST":
        return _people(request)
    form: dict[str, Any] = {
        name: request.POST.get(name, "") for name in ("email", "role", "name", "language")
    }
    form["acts_for"] = ids(request, "acts_for")
    form["households"] = request.POST.getlist("households")
    try:
        _row, link = admission.invite(access=request.access, **form)
    except BadInput as error:
        return _people(request, status=422, faults=_faults(error), typed=form)
    return _invited(request, link)


@require_POST
@needs("people.manage")
@confirmed
def invitation_act(request: HttpRequest, invitation_id: UUID) -> HttpResponse:
    """Send an invitation again with a new link, or end it."""
    if request.POST.get("act") == "revoke":
        invitations.revoke(access=request.access, invitation_id=invitation_id)
        messages.success(request, _("The invitation is revoked. Its link no longer works."))
        return redirect("people")
    try:
        _row, link = admission.resend(access=request.access, invitation_id=invitation_id)
    except BadInput as error:
        return _people(request, status=422, faults=_faults(error))
    return _invited(request, link)


@require_safe
@needs("people.manage")
def person(request: HttpRequest, member_id: UUID) -> HttpResponse:
    """One member and what may be changed about them."""
    return _person(request, member_id)


@require_POST
@needs("people.manage")
@confirmed
def person_act(request: HttpRequest, member_id: UUID) -> HttpResponse:
    """Switch a member off or on, or change role, advisors, households or their book."""
    act, who = request.POST.get("act", ""), {"access": request.access, "member_id": member_id}
    try:
        if act in ("on", "off"):
            services.set_active(active=act == "on", **who)
        elif act == "role":
            services.change_role(role=request.POST.get("role", ""), **who)
        elif act == "acts_for":
            services.set_advisors(advisors=ids(request, "acts_for"), **who)
        elif act == "households":
            services.set_households(refs=request.POST.getlist("households"), **who)
        elif act == "assign":
            services.member_of(request.access, member_id)
            services.assign_household(
                access=request.access,
                ref=request.POST.get("household", ""),
                advisor_id=member_id,
                reason=request.POST.get("reason", ""),
            )
        else:
            raise Http404
    except BadInput as error:
        return _person(request, member_id, status=422, faults=_faults(error))
    messages.success(request, _("The change is made and on record."))
    return redirect("person", member_id=member_id)


def _faults(error: BadInput) -> list[str]:
    return [_(refusal(one)) for one in error.problems]


def _invited(request: HttpRequest, link: str) -> HttpResponse:
    if link:
        return _people(request, link=link)
    messages.success(request, _("The invitation is on its way. Its link works for 72 hours."))
    return redirect("people")


def _people(request: HttpRequest, status: int = 200, **more: Any) -> HttpResponse:
    context = {"page": people_page(request.access), "here": "people"} | more
    return render(request, "reports/people/people.html", context, status=status)


def _person(request: HttpRequest, member_id: UUID, status: int = 200, **more: Any) -> HttpResponse:
    context = {"page": person_page(request.access, member_id), "here": "people"} | more
    return render(request, "reports/people/person.html", context, status=status)
