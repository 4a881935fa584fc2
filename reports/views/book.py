"""The book."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from reports.selectors.book import Filters, book_page
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
    page = book_page(request.access, Filters.read(request.GET))
    return render(request, "reports/desk/book.html", {"page": page, "here": "book"})
