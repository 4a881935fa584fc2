"""The month closes of the firm and how far they are."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from reports.selectors.runs import runs_page
from reports.views.guard import needs


@require_safe
@needs("job.view")
def runs(request: HttpRequest) -> HttpResponse:
    """Progress of every month's close, renewed while one is working."""
    page = runs_page()
    return render(request, "reports/desk/runs.html", {"page": page, "here": "runs"})
