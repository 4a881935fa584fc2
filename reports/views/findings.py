"""The inbox of findings, one finding, and the acts of working through them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from ledger.services import findings as services
from reports.selectors.finding import finding_page_of
from reports.selectors.inbox import Filters, inbox_page
from reports.views.guard import needs

NOBODY = "nobody"


class _UnclearError(Exception):
    """A form that cannot be done as sent; the words are for the reader."""


@require_safe
@needs("finding.view")
def findings(request: HttpRequest) -> HttpResponse:
    """Every open finding of the households in view."""
    page = inbox_page(request.access, Filters.read(request.GET))
    return render(request, "reports/desk/inbox.html", {"page": page, "here": "findings"})


@require_safe
@needs("finding.view")
def finding(request: HttpRequest, finding_id: UUID) -> HttpResponse:
    """One finding with its evidence, remedy, cure, notes and history."""
    page = finding_page_of(request.access, finding_id)
    return render(request, "reports/desk/finding.html", {"page": page, "here": "findings"})


@require_POST
@needs("finding.work")
def act_on_findings(request: HttpRequest) -> HttpResponse:
    """One act on every finding chosen in the inbox; back to where the reader was."""

    def work() -> None:
        chosen = _chosen(request)
        act = request.POST.get("act", "")
        if act == "seen":
            done = services.mark_seen_all(access=request.access, finding_ids=chosen)
        elif act == "assign":
            member = _member(request)
            done = services.assign_all(access=request.access, finding_ids=chosen, member_id=member)
        elif act == "accept":
            done = services.accept_all(
                access=request.access,
                finding_ids=chosen,
                reason=_reason(request),
                until=_until(request),
            )
        else:
            raise _UnclearError(_("Choose what to do with the findings."))
        messages.success(
            request,
            ngettext("%(n)s finding changed.", "%(n)s findings changed.", done) % {"n": done},
        )

    _tried(request, work)
    return redirect(reverse("findings") + Filters.read(request.GET).link())


@require_POST
@needs("finding.work")
def act_on_finding(request: HttpRequest, finding_id: UUID) -> HttpResponse:
    """One act on one finding; back to its page."""
    access = request.access

    def work() -> None:
        named = {"access": access, "finding_id": finding_id}
        acts: dict[str, Callable[[], Any]] = {
            "seen": lambda: services.mark_seen(**named),
            "accept": lambda: services.accept(
                **named, reason=_reason(request), until=_until(request)
            ),
            "back": lambda: services.put_back(**named),
            "assign": lambda: services.assign(**named, member_id=_member(request)),
            "note": lambda: services.add_note(**named, text=_text(request), form=_form(request)),
        }
        act = acts.get(request.POST.get("act", ""))
        if act is None:
            raise _UnclearError(_("Choose what to do with the finding."))
        act()
        messages.success(request, _("Done."))

    _tried(request, work)
    return redirect("finding", finding_id)


def _tried(request: HttpRequest, work: Callable[[], None]) -> None:
    """Do it, or say on the next page why not."""
    try:
        work()
    except services.SettledFindingError:
        messages.error(request, _("The finding has ended meanwhile; nothing was changed."))
    except _UnclearError as error:
        messages.error(request, str(error))
    except ValueError:
        messages.error(
            request,
            _(
                "Nothing was changed. An acceptance ends between tomorrow and a year from today, "
                "and a finding is given to somebody who can see its household."
            ),
        )


def _chosen(request: HttpRequest) -> list[UUID]:
    try:
        chosen = [UUID(one) for one in request.POST.getlist("finding")]
    except ValueError as error:
        raise _UnclearError(_("Choose findings from the list.")) from error
    if not chosen:
        raise _UnclearError(_("Choose at least one finding."))
    if len(chosen) > services.MOST_AT_ONCE:
        raise _UnclearError(_("These are too many findings at once."))
    return chosen


def _reason(request: HttpRequest) -> str:
    return _sayable(request.POST.get("reason", ""), _("Say why the finding is left as it is."))


def _text(request: HttpRequest) -> str:
    return _sayable(request.POST.get("text", ""), _("Write the note first."))


def _sayable(text: str, absent: str) -> str:
    if not text.replace("\x00", "").strip():
        raise _UnclearError(absent)
    if len(text) > services.LONGEST_TEXT:
        raise _UnclearError(_("Write at most %(n)s characters.") % {"n": services.LONGEST_TEXT})
    return text


def _until(request: HttpRequest) -> date:
    try:
        return date.fromisoformat(request.POST.get("until", ""))
    except ValueError as error:
        raise _UnclearError(_("Give the last day of the acceptance.")) from error


def _form(request: HttpRequest) -> UUID:
    try:
        return UUID(request.POST.get("form", ""))
    except ValueError as error:
        raise _UnclearError(_("Write the note on the finding's page.")) from error


def _member(request: HttpRequest) -> UUID | None:
    named = request.POST.get("member", "")
    if named == NOBODY:
        return None
    try:
        return UUID(named)
    except ValueError as error:
        raise _UnclearError(_("Choose whom to give it to.")) from error
