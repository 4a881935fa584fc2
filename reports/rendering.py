"""From a packet's snapshot to its PDF: templates, bundled fonts, same bytes every time.

Nothing outside the package is read: the fetcher serves the bundled fonts and
the charts of this very packet, and any other address stops the render (an
ordinary error would drop the reference silently and leave a PDF that looks
right). Dates in the file's metadata come from the snapshot, never from the
clock. Documents are produced as PDF/UA-1: tagged, titled, with a language.
"""

from __future__ import annotations

import gc
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext as _

from config import formatting
from reports import charts
from reports.annual_files import trace_csv, trace_json
from reports.annual_pages import annual_html
from reports.packets.annual import FORMAT as ANNUAL
from reports.packets.proposal import FORMAT as PROPOSAL
from reports.packets.words import CAUTIONS, SHORT_CAUTION
from reports.proposal_pages import proposal_charts, proposal_html

TEMPLATE_VERSION = "1"
ASSETS = Path(__file__).resolve().parent / "static" / "reports"
FONTS = ("IBMPlexSans-Regular.woff2", "IBMPlexSans-Medium.woff2", "IBMPlexSans-SemiBold.woff2")
SCHEME = "towpath:"


@dataclass(frozen=True, slots=True)
class Attached:
    """Files to put into a PDF, and the ISO date they carry."""

    as_of: str
    files: tuple[tuple[str, bytes], ...]


class ReferenceRefusedError(ValueError):
    """The document refers to something outside the package; nothing was drawn."""


def render_packet(data: Mapping[str, Any]) -> bytes:
    """The PDF of a packet's snapshot, in the snapshot's own language."""
    sheets: tuple[str, ...] = ("packet.css",)
    with translation.override(str(data["language"])):
        if data["format"] == ANNUAL:
            sheets = (*sheets, "annual.css")
            html = annual_html(data, TEMPLATE_VERSION)
            files = (("trace.csv", trace_csv(data)), ("trace.json", trace_json(data)))
            return pdf_bytes(html, {}, sheets, Attached(str(data["as_of"]), files))
        if data["format"] == PROPOSAL:
            sheets = (*sheets, "proposal.css")
            drawn = proposal_charts(data)
            html = proposal_html(data, drawn, TEMPLATE_VERSION)
        else:
            drawn = packet_charts(data)
            html = packet_html(data, drawn)
    images = {f"{SCHEME}chart/{one.name}": one.svg for one in drawn}
    return pdf_bytes(html, images, sheets)


def packet_charts(data: Mapping[str, Any]) -> list[charts.Chart]:
    """The packet's charts in the language in force; those without data are left out."""
    language = str(data["language"])
    year = data["deductible"]["year"]
    found = (
        charts.balances_chart(data["series"], language),
        charts.deductible_chart(data["series"], language),
        charts.causes_chart(year["plan"], year["actual"], year["causes"], language),
    )
    return [one for one in found if one is not None]


def packet_html(data: Mapping[str, Any], drawn: list[charts.Chart]) -> str:
    """The packet's HTML in the language in force; charts are referred to by name."""
    language = str(data["language"])
    title = _("Quarterly review, %(quarter)s: %(name)s") % {
        "quarter": formatting.quarter(data["period"]["year"], data["period"]["quarter"], language),
        "name": data["household"]["name"],
    }
    context = {
        "data": data,
        "title": title,
        "charts": {one.name: one for one in drawn},
        "cautions": [_(one) for one in CAUTIONS],
        "short_caution": _(SHORT_CAUTION),
        "created": f"{data['as_of']}T12:00:00Z",
        "template_version": TEMPLATE_VERSION,
    }
    return render_to_string("reports/packets/quarterly.html", context)


def toolchain() -> dict[str, str]:
    """What drew the bytes: a packet drawn again with an equal toolchain is equal."""
    from importlib.metadata import version

    names = ("weasyprint", "pydyf", "vl-convert-python", "fonttools")
    fonts = hashlib.sha256(b"".join((ASSETS / "fonts" / name).read_bytes() for name in FONTS))
    return {name: version(name) for name in names} | {
        "template": TEMPLATE_VERSION,
        "fonts": fonts.hexdigest()[:16],
    }


def pdf_bytes(
    html: str,
    images: Mapping[str, str],
    sheets: Sequence[str] = ("packet.css",),
    attached: Attached | None = None,
) -> bytes:
    """Draw HTML as a tagged PDF. Any reference but fonts and `images` is fatal.

    With `attached` the file is PDF/A-3a and carries those files; else PDF/UA-1.
    """
    from weasyprint import CSS, HTML
    from weasyprint.text.fonts import FontConfiguration

    fetcher = _fetcher(images)
    fonts = FontConfiguration()
    css = "\n".join((ASSETS / name).read_text(encoding="utf-8") for name in sheets)
    with _quiet_collector(), _refusals_as_errors():
        document = HTML(string=html, url_fetcher=fetcher, base_url=SCHEME, media_type="print")
        sheet = CSS(string=css, url_fetcher=fetcher, font_config=fonts, base_url=SCHEME)
        pdf = document.write_pdf(
            stylesheets=[sheet],
            font_config=fonts,
            pdf_variant="pdf/a-3a" if attached else "pdf/ua-1",
            attachments=_attachments(attached) if attached else None,
            presentational_hints=False,
            finisher=_scope_header_cells,
        )
    # Inside a drawing the library swallows even a fatal refusal; it may not pass here.
    if fetcher.refused:
        raise ReferenceRefusedError(str(fetcher.refused[0]))
    return bytes(pdf)


def _attachments(attached: Attached) -> list[Any]:
    from datetime import UTC, datetime

    from weasyprint import Attachment

    made = datetime.fromisoformat(f"{attached.as_of}T12:00:00").replace(tzinfo=UTC)
    return [
        Attachment(
            file_obj=BytesIO(content),
            name=name,
            description=name,
            created=made,
            modified=made,
            relationship="Data",
        )
        for name, content in attached.files
    ]


def _fetcher(images: Mapping[str, str]) -> Any:
    from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

    class Packaged(URLFetcher):
        """Serves bundled fonts and this packet's charts; all else is fatal."""

        def __init__(self) -> None:
            super().__init__(allowed_protocols=())
            self.refused: list[FatalURLFetchingError] = []

        def fetch(self, url: str, headers: Any = None) -> Any:  # noqa: ARG002 - its signature
            if url in images:
                kind = {"Content-Type": "image/svg+xml"}
                return URLFetcherResponse(url, images[url].encode(), kind)
            name = url.removeprefix(f"{SCHEME}fonts/")
            if url != name and name in FONTS:
                body = (ASSETS / "fonts" / name).read_bytes()
                return URLFetcherResponse(url, body, {"Content-Type": "font/woff2"})
            self.refused.append(FatalURLFetchingError(f"a packet may not refer to {url[:200]!r}"))
            raise self.refused[-1]

    return Packaged()


def _scope_header_cells(_document: Any, pdf: Any) -> None:
    """Say of each header cell whether it heads a column or a row (PDF/UA-1, 7.5).

    The drawing library tags header cells but leaves their scope out.
    """
    import pydyf

    tagged = {
        one.number: one
        for one in pdf.objects
        if isinstance(one, pydyf.Dictionary) and one.get("Type") == "/StructElem"
    }
    for element in tagged.values():
        if element.get("S") != "/TH":
            continue
        parent, scope = element, "/Row"
        while parent is not None:
            if parent.get("S") == "/THead":
                scope = "/Column"
                break
            parent = tagged.get(_number(parent.get("P")))
        element["A"] = pydyf.Dictionary({"O": "/Table", "Scope": scope})


def _number(reference: Any) -> int:
    text = reference.decode() if isinstance(reference, bytes) else str(reference or "")
    head = text.split(" ", 1)[0]
    return int(head) if head.isdigit() else -1


@contextmanager
def _refusals_as_errors() -> Iterator[None]:
    """The library's fatal refusal is no ordinary exception; from here on it is one."""
    from weasyprint.urls import FatalURLFetchingError

    try:
        yield
    except FatalURLFetchingError as refused:
        raise ReferenceRefusedError(str(refused)) from refused


@contextmanager
def _quiet_collector() -> Iterator[None]:
    """Keep the garbage collector out of a render, and collect once afterwards.

    A render makes many small objects that live to its end; scanning them over
    and over costs a third of the time.
    """
    was_enabled = gc.isenabled()
    gc.collect()
    gc.freeze()
    gc.disable()
    try:
        yield
    finally:
        if was_enabled:
            gc.enable()
        gc.unfreeze()
        gc.collect()
