"""Papers as files: a full look at one that comes in, a harmless picture of one on file.

The libraries that read pictures and PDF are loaded when they are first needed.
Nothing in a paper is ever run, and no reader of the desk is ever given its
bytes but as a file to keep.
"""

from __future__ import annotations

from io import BytesIO
from typing import Any

from ledger.core.paper_kinds import NotAPaperError, paper_kind

MOST_PIXELS = 40_000_000
PREVIEW_EDGE = 1400
FORMATS = {"png": "PNG", "jpeg": "JPEG"}
_RUNS = ("/JavaScript", "/JS", "/Launch", "/SubmitForm", "/ImportData", "/Rendition")


def looked_through(content: bytes) -> str:
    """The kind of a paper that can really be read as that kind. Raises NotAPaperError."""
    kind = paper_kind(content)
    if kind in FORMATS:
        _drawn(content, kind)
    elif kind == "pdf":
        _leafed_through(content)
    return kind


def picture(content: bytes, kind: str) -> bytes:
    """A picture drawn anew as PNG, at most 1,400 pixels wide and high.

    Only the colours of the pixels come over: no comment, place, camera, or
    anything hidden behind them. Raises NotAPaperError.
    """
    image = _drawn(content, kind)
    image.thumbnail((PREVIEW_EDGE, PREVIEW_EDGE))
    out = BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


def _drawn(content: bytes, kind: str) -> Any:
    from PIL import Image, ImageOps

    try:
        with Image.open(BytesIO(content), formats=(FORMATS[kind],)) as image:
            width, height = image.size
            if width * height > MOST_PIXELS:
                raise NotAPaperError("the picture has more than 40 million pixels")
            image.load()
            turned = ImageOps.exif_transpose(image)
            plain = Image.new("RGB", turned.size, "white")
            sheer = turned.convert("RGBA")
            plain.paste(sheer, mask=sheer.getchannel("A"))
            return plain
    except NotAPaperError:
        raise
    except Exception as error:
        # The library promises no set of errors for damaged pictures.
        raise NotAPaperError("the picture cannot be drawn") from error


def _leafed_through(content: bytes) -> None:
    import pikepdf

    try:
        with pikepdf.open(BytesIO(content)) as pdf:
            pages = len(pdf.pages)
            active = _active(pdf)
    except pikepdf.PasswordError as error:
        raise NotAPaperError("the PDF asks for a password") from error
    except Exception as error:
        raise NotAPaperError("the PDF cannot be read") from error
    if pages == 0:
        raise NotAPaperError("the PDF has no page")
    if active:
        raise NotAPaperError("the PDF holds a script, or files of its own")


def _active(pdf: Any) -> bool:
    """Whether a PDF would do something when opened, or carries other files."""
    import pikepdf

    names = pdf.Root.get("/Names", {})
    if "/JavaScript" in names or "/EmbeddedFiles" in names:
        return True
    return any(
        str(one.get("/S", "")) in _RUNS or "/JS" in one
        for one in pdf.objects
        if isinstance(one, pikepdf.Dictionary | pikepdf.Stream)
    )
