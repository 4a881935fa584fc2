"""The firm's settings, for its principals."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from config.problems import BadInput
from ledger.services.thresholds import set_thresholds
from reports.selectors.firm import firm_page, written_values
from reports.views.guard import needs


@require_http_methods(["GET", "HEAD", "POST"])
@needs("firm.edit")
def firm(request: HttpRequest) -> HttpResponse:
    """The thresholds with their defaults and history; a form puts new ones in force."""
    problems = ()
    typed = None
    if request.method == "POST":
        typed = {name: str(value) for name, value in request.POST.items()}
        seen = typed.get("seen", "")
        try:
            set_thresholds(
                access=request.access,
                values=written_values(typed),
                reason=typed.get("reason", ""),
                seen=int(seen) if seen.isascii() and seen.isdigit() else -1,
            )
        except BadInput as refused:
            problems = tuple(refused.problems)
        else:
            messages.success(request, _("The thresholds are in force."))
            return redirect("firm")
    page = firm_page(request.access, typed, problems)
    status = 400 if problems else 200
    return render(request, "reports/desk/firm.html", {"page": page, "here": "firm"}, status=status)
