"""The renewals ahead."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import get_language
from django.views.decorators.http import require_safe

from ledger.services.closing.facts import firm_today
from reports.selectors.renewals import Asked, renewals_page
from reports.views.guard import needs


@require_safe
@needs("finding.view")
def renewals(request: HttpRequest) -> HttpResponse:
    """Months ahead with their renewals, and one month's households."""
    page = renewals_page(
        request.access, Asked.read(request.GET), firm_today(), get_language() or "en"
    )
    return render(request, "reports/desk/renewals.html", {"page": page, "here": "renewals"})
