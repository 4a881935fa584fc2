"""A household's plan: in force, tried, kept; its versions; renewal offers."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from config.problems import BadInput
from ledger.services.plans import keep_plan
from planning.core.renewal_offers import planned
from planning.core.whatif_refusals import Refusal, Refused
from planning.services.plan_versions import NotTheNewestError
from reports.plan_form import read_change, read_keeping, read_offers
from reports.selectors import plan as pages
from reports.views.guard import needs

CONFLICT, UNPROCESSABLE = 409, 422


@require_safe
@needs("plan.view")
def plan(request: HttpRequest, ref: str) -> HttpResponse:
    """The plan in force and what the form asks for; to htmx, the answer alone."""
    state = pages.plan_state(request.access, ref)
    page = pages.plan_page(request.access, state, request.GET)
    part = bool(getattr(request, "htmx", False))
    template = "reports/desk/_plan_answer.html" if part else "reports/desk/plan.html"
    return render(request, template, {"page": page, "here": "book"})


@require_safe
@needs("plan.view")
def plan_version(request: HttpRequest, ref: str, number: int) -> HttpResponse:
    """One version of the plan beside the one in force."""
    page = pages.version_page(request.access, ref, number)
    return render(request, "reports/desk/plan_version.html", {"page": page, "here": "book"})


@require_POST
@needs("plan.edit")
def save_plan(request: HttpRequest, ref: str) -> HttpResponse:
    """Keep what the form asks for as a new version of the plan."""
    state = pages.plan_state(request.access, ref)
    reason, based_on, refused = read_keeping(request.POST)
    form = read_change(request.POST, state.since)
    answer: dict[str, Any] = {"reason": reason, "moved": None}
    status = UNPROCESSABLE
    if form.change.empty and not form.refused:
        answer["refused"] = [Refusal("plan", "nothing-changed")]
    elif not refused and not form.refused:
        try:
            saved = keep_plan(
                access=request.access,
                ref=ref,
                plan=pages.tried_plan(state, form),
                reason=reason,
                based_on=based_on,
            )
            return _kept(request, ref, saved.number)
        except Refused:
            pass  # the page below says what and why, beside the form
        except NotTheNewestError:
            state = pages.plan_state(request.access, ref)
            answer["moved"], status = state.number, CONFLICT
        except BadInput as error:
            answer["problems"] = error.problems
    page = pages.plan_page(request.access, state, request.POST) | answer
    page["refused_keeping"] = refused
    context = {"page": page, "here": "book"}
    return render(request, "reports/desk/plan.html", context, status=status)


@require_safe
@needs("plan.view")
def offers(request: HttpRequest, ref: str) -> HttpResponse:
    """Up to four renewal offers side by side."""
    state = pages.plan_state(request.access, ref)
    form = read_offers(request.GET)
    page = pages.offers_page(request.access, state, form, asked="compare" in request.GET)
    return render(request, "reports/desk/offers.html", {"page": page, "here": "book"})


@require_POST
@needs("plan.edit")
def save_offer(request: HttpRequest, ref: str) -> HttpResponse:
    """Keep the chosen offer as the renewal of a new version of the plan."""
    state = pages.plan_state(request.access, ref)
    form = read_offers(request.POST)
    reason, based_on, refused = read_keeping(request.POST)
    answer: dict[str, Any] = {"reason": reason, "moved": None}
    status = UNPROCESSABLE
    place = request.POST.get("choice", "")
    chosen = [offer for at, offer in zip(form.places, form.offers, strict=True) if str(at) == place]
    on = pages.renewal_day(state, form)
    if not chosen:
        refused = (*refused, Refusal("choice", "no-choice"))
    try:
        if not refused and not form.refused and on is not None:
            after = planned(state.household, form.mortgage, on, chosen[0])
            saved = keep_plan(
                access=request.access, ref=ref, plan=after, reason=reason, based_on=based_on
            )
            return _kept(request, ref, saved.number)
    except Refused as error:
        refused = (*refused, *(one for one in error.refusals if one.code == "not-a-renewal"))
    except NotTheNewestError:
        state = pages.plan_state(request.access, ref)
        answer["moved"], status = state.number, CONFLICT
    except BadInput as error:
        answer["problems"] = error.problems
    page = pages.offers_page(request.access, state, form, asked=True)
    page |= answer | {"refused_keeping": refused, "choice": place}
    context = {"page": page, "here": "book"}
    return render(request, "reports/desk/offers.html", context, status=status)


def _kept(request: HttpRequest, ref: str, number: int) -> HttpResponse:
    words = _(
        "Version %(number)s of the plan is saved and in force. Closed months are looked at again."
    )
    messages.success(request, words % {"number": number})
    return redirect("plan", ref)
