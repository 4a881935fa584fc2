"""The book: its work list, acts on several households, and saved views."""

from __future__ import annotations

from typing import Any
from urllib.parse import parse_qsl
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from ledger.services import bulk
from ledger.services.closing.facts import firm_today
from reports.selectors.worklist import Filters, worklist_page
from reports.services.views import remove_view, save_view
from reports.views.guard import needs


def book(request: HttpRequest) -> HttpResponse:
    """The work list; an accountant is led to what is shared with them."""
    if request.access is not None and request.access.can("grant.own"):
        return redirect("shared")
    return _book(request)


@require_safe
@needs("household.view")
def _book(request: HttpRequest) -> HttpResponse:
    """The firm's households as a work list; a client is led to their own household."""
    if not request.access.can("finding.view"):
        own = request.access.households().order_by("ref").first()
        if own is None:
            return render(request, "404.html", status=404)
        return redirect("household", own.ref)
    page = worklist_page(request.access, Filters.read(request.GET), firm_today())
    request.unseen_findings = page["unseen"]
    return render(request, "reports/desk/book.html", {"page": page, "here": "book"})


@require_POST
@needs("household.view")
def act_on_households(request: HttpRequest) -> HttpResponse:
    """One act on every household chosen in the work list; back to where the reader was."""
    filters = Filters.read(request.GET)
    try:
        _act(request)
    except ValueError as error:
        messages.error(request, str(error))
    return redirect(reverse("book") + filters.link())


def _act(request: HttpRequest) -> None:
    """Raises ValueError with words for the reader."""
    chosen = _chosen(request)
    act = request.POST.get("act", "")
    if act == "seen":
        done = bulk.see_households(access=request.access, household_ids=chosen)
    elif act == "assign":
        member = _member(request)
        try:
            done = bulk.assign_households(
                access=request.access, household_ids=chosen, member_id=member
            )
        except ValueError as error:
            words = _("Nothing was changed: this person cannot see every chosen household.")
            raise ValueError(words) from error
    elif act == "close":
        asked = bulk.ask_closes(access=request.access, household_ids=chosen)
        messages.success(
            request,
            ngettext(
                "%(n)s household is with the workers; its row shows the month when it is closed.",
                "%(n)s households are with the workers; their rows show the month when it is "
                "closed.",
                asked,
            )
            % {"n": asked},
        )
        return
    else:
        raise ValueError(_("Choose what to do with the households."))
    messages.success(
        request, ngettext("%(n)s finding changed.", "%(n)s findings changed.", done) % {"n": done}
    )


def _chosen(request: HttpRequest) -> list[UUID]:
    try:
        chosen = [UUID(one) for one in request.POST.getlist("household")]
    except ValueError as error:
        raise ValueError(_("Choose households from the list.")) from error
    if not chosen:
        raise ValueError(_("Choose at least one household."))
    if len(chosen) > bulk.MOST_HOUSEHOLDS:
        raise ValueError(_("These are too many households at once."))
    return chosen


def _member(request: HttpRequest) -> UUID | None:
    named = request.POST.get("member", "")
    if named == "nobody":
        return None
    try:
        return UUID(named)
    except ValueError as error:
        raise ValueError(_("Choose whom to give it to.")) from error


@require_POST
@needs("view.save")
def keep_view(request: HttpRequest) -> HttpResponse:
    """Keep the filters of the address under a name."""
    filters = Filters.read(dict(parse_qsl(request.POST.get("query", "").lstrip("?")[:2000])))
    link = filters.link(after="")
    try:
        kept = save_view(
            access=request.access,
            name=request.POST.get("name", ""),
            query=link,
            shared=request.POST.get("shared") == "1",
        )
        messages.success(request, _("The view “%(name)s” is kept.") % {"name": kept.name})
    except ValueError:
        messages.error(request, _("A view needs a name, and you may keep at most fifty."))
    return redirect(reverse("book") + link)


@require_POST
@needs("view.save")
def drop_view(request: HttpRequest, view_id: Any) -> HttpResponse:
    """Remove a view of one's own."""
    remove_view(access=request.access, view_id=view_id)
    messages.success(request, _("The view is removed."))
    return redirect("book")
