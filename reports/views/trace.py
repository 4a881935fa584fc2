"""A year's deduction taken apart, a draw's life, a statement line's fate, restatements."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from reports.selectors.restated import restatements_page
from reports.selectors.trace import entry_page, trace_draw_page, trace_year_page
from reports.views.guard import needs


@require_safe
@needs("trace.year")
def trace_year(request: HttpRequest, ref: str, year: int) -> HttpResponse:
    """A calendar year's deduction by use, by draw and by posting."""
    return _shown(request, "trace_year", trace_year_page(request.access, ref, year))


@require_safe
@needs("trace.view")
def trace_draw(request: HttpRequest, ref: str, year: int, draw: str) -> HttpResponse:
    """One draw from its posting to the years it is deducted in."""
    return _shown(request, "trace_draw", trace_draw_page(request.access, ref, year, draw))


@require_safe
@needs("trace.view")
def entry(request: HttpRequest, ref: str, entry: str) -> HttpResponse:
    """One statement line and everything that came of it."""
    return _shown(request, "entry", entry_page(request.access, ref, entry))


@require_safe
@needs("trace.view")
def restatements(request: HttpRequest, ref: str) -> HttpResponse:
    """What closing again changed, and which facts changed it."""
    return _shown(request, "restatements", restatements_page(request.access, ref))


def _shown(request: HttpRequest, name: str, page: dict[str, Any] | None) -> HttpResponse:
    if page is None:
        raise Http404
    return render(request, f"reports/desk/{name}.html", {"page": page, "here": "book"})
