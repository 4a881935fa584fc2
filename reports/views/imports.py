"""Statement files and whole books handed in: looked at first, written when confirmed."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from ledger.core.formats.decoding import MOST_BYTES
from ledger.services.book_import import import_book as load_book
from ledger.services.importing import ImportRequest
from ledger.services.importing import import_statements as book_files
from planning.core import book_rows
from reports.selectors.imports import answer_rows, choices, household_named, mark_of
from reports.views.guard import needs

UNPROCESSABLE = 422


@require_http_methods(["GET", "HEAD", "POST"])
@needs("statement.import")
def import_statements(request: HttpRequest) -> HttpResponse:
    """The form; posted, a preview of every file; posted again with the same files, the booking."""
    page: dict[str, object] = {"households": choices(request.access), "household": "", "rows": []}
    if request.method != "POST":
        return _shown(request, page)
    household = str(request.POST.get("household", ""))[:64]
    household_named(request.access, household)
    page["household"] = household
    files = tuple(
        # One byte more than is taken tells that there is more; the rest is not read.
        (one.name or "", one.read(MOST_BYTES + 1))
        for one in request.FILES.getlist("files")
    )
    if not files:
        page["missing"] = _("Choose at least one file.")
        return _shown(request, page, UNPROCESSABLE)
    mark = mark_of(files, household)
    previewed = "save" in request.POST and request.POST.get("mark") == mark
    page["differs"] = "save" in request.POST and not previewed
    result = book_files(
        access=request.access,
        request=ImportRequest(files=files, household=household or None, dry_run=not previewed),
    )
    page |= {
        "rows": answer_rows(request.access, result),
        "bad": len(result.problems),
        "mark": mark,
        "saved": previewed and not result.problems,
    }
    if page["saved"]:
        messages.success(request, _("The statements are booked."))
    return _shown(request, page, UNPROCESSABLE if result.problems else 200)


def _shown(request: HttpRequest, page: dict[str, object], status: int = 200) -> HttpResponse:
    context = {"page": page, "here": "import"}
    return render(request, "reports/setup/statements.html", context, status=status)


@require_safe
@needs("household.edit")
def book_template(request: HttpRequest) -> HttpResponse:  # noqa: ARG001 - the guard reads it
    """The columns of a book's table, as a file to fill in."""
    answer = HttpResponse(book_rows.template(), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="book.csv"'
    return answer


@require_http_methods(["GET", "HEAD", "POST"])
@needs("household.edit")
def import_book(request: HttpRequest) -> HttpResponse:
    """The form; posted, a preview of every row; posted again with the same file, the loading."""
    page: dict[str, object] = {"rows": ()}
    if request.method != "POST":
        return _book(request, page)
    sent = request.FILES.get("file")
    if sent is None:
        return _book(request, page | {"missing": _("Choose a file.")}, UNPROCESSABLE)
    name, data = sent.name or "", sent.read(book_rows.MOST_BYTES + 1)
    mark = mark_of([(name, data)], "")
    previewed = "save" in request.POST and request.POST.get("mark") == mark
    result = load_book(access=request.access, name=name, data=data, dry_run=not previewed)
    page |= {
        "rows": result.rows,
        "problems": result.problems,
        "mark": mark,
        "differs": "save" in request.POST and not previewed,
        "saved": previewed and not result.problems,
    }
    if page["saved"]:
        messages.success(request, _("The households are loaded."))
    return _book(request, page, UNPROCESSABLE if result.problems else 200)


def _book(request: HttpRequest, page: dict[str, object], status: int = 200) -> HttpResponse:
    context = {"page": page, "here": "import"}
    return render(request, "reports/setup/book.html", context, status=status)
