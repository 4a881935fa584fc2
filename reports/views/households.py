"""One household, one of its months, and its packets as files."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.cache import add_never_cache_headers
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from config import formatting
from config.problems import BadInput
from reports.packets.annual import NotTiedError
from reports.selectors.household import household_page_of, month_page_of, stored_packet
from reports.services.annual import AnnualRequest, issue_annual
from reports.services.packets import NotClosedError, draw_packet
from reports.services.proposals import ProposalRequest, issue_proposal
from reports.views.guard import needs

FORMS = {
    "pdf": "application/pdf",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "csv": "application/zip",
}


@require_safe
@needs("household.view")
def household(request: HttpRequest, ref: str) -> HttpResponse:
    """Pictures, what is to be done, findings, months, draws and packets of a household."""
    page = household_page_of(request.access, ref)
    return render(request, "reports/desk/household.html", {"page": page, "here": "book"})


@require_safe
@needs("month.view")
def month(request: HttpRequest, ref: str, month: str) -> HttpResponse:
    """One closed month, plan against actual."""
    page = month_page_of(request.access, ref, month)
    if page is None:
        raise Http404
    return render(request, "reports/desk/month.html", {"page": page, "here": "book"})


@require_safe
@needs("packet.view")
def packet(request: HttpRequest, ref: str, packet_id: Any, form: str = "pdf") -> HttpResponse:
    """A stored packet's bytes, as issued, as a file that no cache keeps.

    `form` is pdf, or xlsx or csv for the other files of an annual packet.
    """
    found = stored_packet(request.access, ref, packet_id)
    content = (
        None if found is None else {"xlsx": found.xlsx, "csv": found.tables}.get(form, found.pdf)
    )
    if found is None or content is None:
        raise Http404
    response = HttpResponse(bytes(content), content_type=FORMS[form])
    # The name is made of our own pattern; nothing typed by anybody reaches the header.
    response["Content-Disposition"] = f'attachment; filename="{found.file_name_of(form)}"'
    response["X-Content-Type-Options"] = "nosniff"
    add_never_cache_headers(response)
    response["Cache-Control"] = "no-store"
    return response


@require_POST
@needs("packet.issue")
def propose(request: HttpRequest, ref: str) -> HttpResponse:
    """Make the proposal of the plan in force, in the page's language, and draw it at once."""
    language = "fr" if (get_language() or "").startswith("fr") else "en"
    try:
        packet = issue_proposal(access=request.access, request=ProposalRequest(ref, language))
    except BadInput as error:
        for problem in error.problems:
            messages.error(request, f"{problem.message}. {problem.remedy}.")
        return redirect("household", ref)
    draw_packet(access=request.access, packet_id=packet.pk)
    messages.success(
        request,
        _("The proposal is made; it stands under Packets as %(name)s.")
        % {"name": packet.file_name},
    )
    return redirect("household", ref)


@require_POST
@needs("packet.issue")
def issue_year(request: HttpRequest, ref: str) -> HttpResponse:
    """Issue the annual packet of a closed year, in the page's language, and draw its files."""
    language = "fr" if (get_language() or "").startswith("fr") else "en"
    year = request.POST.get("year", "")
    if not (year.isascii() and year.isdigit() and len(year) == 4):
        raise Http404
    try:
        found = issue_annual(access=request.access, request=AnnualRequest(ref, int(year), language))
    except BadInput as error:
        for problem in error.problems:
            messages.error(request, f"{problem.message}. {problem.remedy}.")
        return redirect("household", ref)
    except NotClosedError as error:
        waiting = [*error.open_months, *error.stale_months]
        messages.error(request, _("Close these months first: %(months)s.") % _named(waiting))
        return redirect("household", ref)
    except NotTiedError as error:
        loose = sorted({month for month, _line in error.months})
        said = _("Not issued: the line does not tie to its statements in %(months)s.")
        messages.error(request, said % _named(loose))
        return redirect("household", ref)
    draw_packet(access=request.access, packet_id=found.pk)
    messages.success(
        request,
        _("The annual packet is made; it stands under Packets as %(name)s.")
        % {"name": found.file_name},
    )
    return redirect("household", ref)


def _named(months: list[str]) -> dict[str, str]:
    language = get_language() or "en"
    return {"months": ", ".join(formatting.long_month(month, language) for month in months)}
