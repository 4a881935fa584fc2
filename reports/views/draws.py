"""A household's draws: what each was used for, and recording it."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from config.problems import BadInput, Problem
from ledger.core.decision import DecisionEffect
from ledger.core.paper_kinds import MOST_BYTES
from ledger.selectors.uses import (
    DrawToDecide,
    account_choices,
    draw_to_decide,
    effect_of_use,
)
from ledger.services.papers import attach_evidence, withdraw_evidence
from ledger.services.uses import DecidedMeanwhileError, decide_use
from reports.selectors.draws import draw_page, draws_page, offered_papers
from reports.use_form import UseForm, form_of, read_form
from reports.views.guard import needs


@require_safe
@needs("evidence.view")
def draws(request: HttpRequest, ref: str) -> HttpResponse:
    """Every draw of a household, the oldest first."""
    page = draws_page(request.access, ref)
    return render(request, "reports/desk/draws.html", {"page": page, "here": "book"})


@require_http_methods(["GET", "HEAD", "POST"])
@needs("evidence.view")
def draw(request: HttpRequest, ref: str, entry: str) -> HttpResponse:
    """One draw; a posted form is previewed first, and saved when it is what was previewed."""
    if request.method == "POST":
        request.access.require("use.decide")
    found = draw_to_decide(request.access, ref, entry)
    if request.method != "POST":
        return _shown(request, ref, found, _filled(found))
    accounts = dict(account_choices(found.household))
    form = read_form(request.POST, accounts, found.splits, found.fact.amount)
    if form.faulty:
        return _shown(request, ref, found, form, status=422)
    try:
        effect = effect_of_use(request.access, ref, entry, form.splits)
    except BadInput as error:
        form.blame(error.problems)
        return _shown(request, ref, found, form, status=422)
    if "save" not in request.POST or request.POST.get("previewed") != form.mark:
        return _shown(request, ref, found, form, effect)
    try:
        decide_use(
            access=request.access,
            ref=ref,
            draw=entry,
            splits=form.splits,
            reason=form.reason,
            seen=form.seen,
        )
    except DecidedMeanwhileError:
        found = draw_to_decide(request.access, ref, entry)
        form.seen = found.revision
        form.errors.append(
            _(
                "Somebody decided about this draw after you opened the page. Look at the newest "
                "decision below, then preview yours again."
            )
        )
        return _shown(request, ref, found, form, status=409)
    messages.success(
        request, _("The decision is recorded. Closed months from the draw on are closed again.")
    )
    return redirect("draw", ref=ref, entry=entry)


@require_POST
@needs("evidence.add")
def hand_in(request: HttpRequest, ref: str, entry: str) -> HttpResponse:
    """Keep papers handed in for a draw."""
    found = draw_to_decide(request.access, ref, entry)
    files = [
        # One byte more than is taken tells that there is more; the rest is not read.
        (one.name or "", one.read(MOST_BYTES + 1))
        for one in request.FILES.getlist("files")
    ]
    try:
        papers = attach_evidence(
            access=request.access,
            ref=ref,
            files=files,
            draw=entry,
            evidence=request.POST.get("evidence", ""),
        )
    except BadInput as error:
        form = _filled(found)
        faults = [_told(one) for one in error.problems]
        return _shown(request, ref, found, form, status=422, faults=faults)
    for one in papers:
        messages.success(
            request, _("Kept as %(ref)s. Tick it beside the split it supports.") % {"ref": one.ref}
        )
    return redirect("draw", ref=ref, entry=entry)


@require_POST
@needs("use.decide")
def take_back(request: HttpRequest, ref: str, entry: str, paper_id: UUID) -> HttpResponse:
    """Take a paper back; decisions that rest on it alone lose it."""
    found = draw_to_decide(request.access, ref, entry)
    try:
        withdraw_evidence(
            access=request.access,
            ref=ref,
            paper_id=paper_id,
            reason=request.POST.get("reason", ""),
        )
    except ValueError:
        form = _filled(found)
        faults = [_("Say why the paper is taken back.")]
        return _shown(request, ref, found, form, status=422, faults=faults)
    messages.success(
        request, _("The paper is taken back. It stays on record, and supports nothing any more.")
    )
    return redirect("draw", ref=ref, entry=entry)


def _filled(found: DrawToDecide) -> UseForm:
    return form_of(found.splits, found.revision, offered_papers(found))


def _told(problem: Problem) -> str:
    """A problem with a file in the page's language."""
    text = f"{_(problem.message)}. {_(problem.remedy)}."
    return f"{problem.file}: {text}" if problem.file else text


def _shown(
    request: HttpRequest,
    ref: str,
    found: DrawToDecide,
    form: UseForm,
    effect: DecisionEffect | None = None,
    *,
    status: int = 200,
    faults: Any = (),
) -> HttpResponse:
    page = draw_page(request.access, ref, found, form, effect)
    held = {"page": page, "here": "book", "faults": faults}
    return render(request, "reports/desk/draw.html", held, status=status)
