"""Setting a household up, or changing one, step by step."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from config.problems import BadInput, Problem
from ledger.services.setting_up import OutdatedError, begin_change, save_draft
from planning.services.drafts import begin_draft, discard_draft, keep_draft
from reports.selectors.setup import draft_of, new_content, start_page, step_or_404, step_page
from reports.setup_fields import STEPS, Step
from reports.setup_form import applied
from reports.views.guard import needs

CONFLICT, UNPROCESSABLE = 409, 422


@require_http_methods(["GET", "HEAD", "POST"])
@needs("household.edit")
def new_household(request: HttpRequest) -> HttpResponse:
    """The person's drafts; a posted form begins a new household, or goes on with it."""
    if request.method == "POST":
        content = new_content(request.access, timezone.localdate())
        draft = begin_draft(access=request.access, content=content)
        return redirect("setup_step", draft.pk, STEPS[0].name)
    page = start_page(request.access)
    return render(request, "reports/setup/start.html", {"page": page, "here": "new"})


@require_POST
@needs("household.edit")
def edit_household(request: HttpRequest, ref: str) -> HttpResponse:
    """Begin a change to a household on file, or go on with it."""
    draft = begin_change(access=request.access, ref=ref)
    return redirect("setup_step", draft.pk, STEPS[0].name)


@require_POST
@needs("household.edit")
def discard(request: HttpRequest, draft_id: UUID) -> HttpResponse:
    """Give a draft up."""
    discard_draft(access=request.access, draft_id=draft_id)
    messages.success(request, _("The draft is discarded. Nothing on file has changed."))
    return redirect("new_household")


@require_http_methods(["GET", "HEAD", "POST"])
@needs("household.edit")
def setup_step(request: HttpRequest, draft_id: UUID, step: str) -> HttpResponse:
    """One step's form. What is typed is kept whatever is wrong with it; problems hold one back."""
    found = step_or_404(step)
    draft, row = draft_of(request.access, draft_id)
    if request.method != "POST":
        judged = "check" in request.GET or bool(draft.household_id) or not found.groups
        page = step_page(draft, row, found, judged=judged)
        return _shown(request, page)
    if not found.groups:
        return _saved(request, draft_id, found)
    content = applied(found, draft.content, request.POST)
    keep_draft(access=request.access, draft_id=draft_id, content=content)
    draft, row = draft_of(request.access, draft_id)
    page = step_page(draft, row, found)
    if "stay" in request.POST:
        return _shown(request, page, UNPROCESSABLE if page["faults"] else 200)
    if page["faults"]:
        return _shown(request, page, UNPROCESSABLE)
    return redirect("setup_step", draft_id, STEPS[STEPS.index(found) + 1].name)


def _saved(request: HttpRequest, draft_id: UUID, step: Step) -> HttpResponse:
    reason = request.POST.get("reason", "")
    problems: tuple[Problem, ...] = ()
    status = UNPROCESSABLE
    try:
        loaded = save_draft(
            access=request.access,
            draft_id=draft_id,
            reason=reason,
            reviewed=request.POST.get("mark", ""),
            language=get_language() or "en",
        )
    except OutdatedError as error:
        problems, status = error.problems, CONFLICT
    except BadInput as error:
        problems = error.problems
    else:
        if loaded.changed:
            messages.success(request, _("The household is on file: %(ref)s.") % {"ref": loaded.ref})
        else:
            messages.success(request, _("Nothing differs from what is on file."))
        return redirect("household", loaded.ref)
    draft, row = draft_of(request.access, draft_id)
    fresh = tuple(
        one
        for one in problems
        if one.where in ("", "reason", "household.ref") or one.where == "household.advisor"
    )
    page = step_page(draft, row, step, fresh)
    return _shown(request, page | {"reason": reason}, status)


def _shown(request: HttpRequest, page: dict[str, object], status: int = 200) -> HttpResponse:
    context = {"page": page, "here": "new"}
    template = "reports/setup/review.html" if "parts" in page else "reports/setup/step.html"
    return render(request, template, context, status=status)
