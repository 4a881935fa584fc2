"""Papers as files: to keep, or as a picture drawn anew. Nothing of them is ever run."""

from __future__ import annotations

from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from ledger import paper_files
from ledger.selectors.uses import paper_with_bytes
from reports.views.guard import needs

ENDINGS = {"pdf": "pdf", "png": "png", "jpeg": "jpg", "text": "txt"}


@require_safe
@needs("evidence.view")
def paper(request: HttpRequest, ref: str, paper_id: UUID) -> HttpResponse:
    """The bytes as handed in, as a file to save and of no type a browser would open."""
    found = paper_with_bytes(request.access, ref, paper_id).content
    response = HttpResponse(bytes(found.content), content_type="application/octet-stream")
    # The name is made of our own pattern; nothing typed by anybody reaches the header.
    name = f"paper-{found.sha256[:12]}.{ENDINGS[found.kind]}"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return _harmless(response)


@require_safe
@needs("evidence.view")
def picture(request: HttpRequest, ref: str, paper_id: UUID) -> HttpResponse:
    """A picture drawn anew; 404 for papers that are no pictures."""
    found = paper_with_bytes(request.access, ref, paper_id).content
    if found.kind not in paper_files.FORMATS:
        raise Http404
    drawn = paper_files.picture(bytes(found.content), found.kind)
    response = HttpResponse(drawn, content_type="image/png")
    response["Content-Disposition"] = "inline"
    return _harmless(response)


def _harmless(response: HttpResponse) -> HttpResponse:
    response["Content-Security-Policy"] = "default-src 'none'; frame-ancestors 'none'; sandbox"
    response["X-Content-Type-Options"] = "nosniff"
    response["Cache-Control"] = "no-store"
    return response
