"""A household's books as a download."""

from __future__ import annotations

from io import BytesIO
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.cache import add_never_cache_headers
from django.views.decorators.http import require_safe

from config.problems import BadInput
from ledger.selectors.books import FORMATS, household_books
from reports.views.guard import needs

EARLIEST = (1980, 1, 1, 0, 0, 0)


@require_safe
@needs("books.export")
def books(request: HttpRequest, ref: str, form: str) -> HttpResponse:
    """The journal as text, or the tables as one archive, as a file that no cache keeps."""
    if form not in FORMATS:
        raise Http404
    try:
        files = household_books(request.access, ref, form)
    except BadInput as error:
        raise Http404("no statement yet") from error
    (first, *rest) = files
    name, content, kind = first, files[first], "text/plain; charset=utf-8"
    if rest:
        name = first.rsplit("-", 1)[0] + ".zip"
        content, kind = _archive(files), "application/zip"
    response = HttpResponse(content, content_type=kind)
    # Letters, digits and dashes only: nothing typed by anybody reaches the header.
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    response["X-Content-Type-Options"] = "nosniff"
    add_never_cache_headers(response)
    response["Cache-Control"] = "no-store"
    return response


def _archive(files: dict[str, bytes]) -> bytes:
    """The files in one archive; equal files make equal bytes, so no clock goes in."""
    out = BytesIO()
    with ZipFile(out, "w", ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(ZipInfo(name, EARLIEST), content, ZIP_DEFLATED)
    return out.getvalue()
