"""What kind of paper some bytes are: told by the bytes, never by a name.

Four kinds are taken: PDF, PNG, JPEG, and plain text (CSV included). Whatever a
browser might run is refused: markup posing as text, and a picture with more
behind its end. The first bytes are the published signatures: ISO 32000-1, 7.5.2
(PDF); the PNG specification, section 5.2; ITU-T T.81, annex B (JPEG).
"""

from __future__ import annotations

import re
import unicodedata

KINDS = ("pdf", "png", "jpeg", "text")
MOST_BYTES = 10 * 1024 * 1024
NAME_LENGTH = 120
_PNG = b"\x89PNG\r\n\x1a\n"
_CHUNK_EDGE = 12
_MARKUP = re.compile(
    r"<\s*(!doctype|\?xml|html|head|body|script|svg|style|iframe|object|embed|img|link|meta)\b",
    re.IGNORECASE,
)
_ALLOWED_CONTROLS = frozenset("\t\n\r\f")


class NotAPaperError(ValueError):
    """The bytes are no paper that is taken; the message says why, for a person."""


def paper_kind(content: bytes) -> str:
    """The kind of some bytes: one of `KINDS`. Raises NotAPaperError.

    A picture is looked at by its frame only; that it can be drawn is for the
    caller, who has the library, to see.
    """
    if not content:
        raise NotAPaperError("the file is empty")
    if len(content) > MOST_BYTES:
        raise NotAPaperError(f"the file is larger than {MOST_BYTES // 1024 // 1024} MB")
    if content.startswith(b"%PDF-"):
        if b"%%EOF" not in content[-2048:]:
            raise NotAPaperError("the PDF breaks off before its end")
        return "pdf"
    if content.startswith(_PNG):
        _whole_png(content)
        return "png"
    if content.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    plain_text(content)
    return "text"


def _whole_png(content: bytes) -> None:
    """A chain of chunks to IEND and nothing behind it."""
    at = len(_PNG)
    while at + _CHUNK_EDGE <= len(content):
        length = int.from_bytes(content[at : at + 4], "big")
        name = content[at + 4 : at + 8]
        at += _CHUNK_EDGE + length
        if name == b"IEND":
            if at != len(content):
                raise NotAPaperError("there is something behind the end of the picture")
            return
    raise NotAPaperError("the picture breaks off before its end")


def plain_text(content: bytes) -> str:
    """Bytes as plain text: UTF-8, else Windows-1252. Raises NotAPaperError.

    Control characters and markup are refused, so that no reader of the file
    takes it for more than text.
    """
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if any(one < " " and one not in _ALLOWED_CONTROLS for one in text) or "\x7f" in text:
            break
        if _MARKUP.search(text):
            raise NotAPaperError("this is a web page or a drawing in text, not plain text")
        return text
    raise NotAPaperError("this is neither a PDF, a PNG or JPEG picture, nor plain text")


def shown_name(name: str) -> str:
    """What a file was called, for display alone: no folders, controls or direction marks.

    It never becomes a path or a header.
    """
    last = re.split(r"[\\/]", name)[-1]
    kept = "".join(one for one in last if not unicodedata.category(one).startswith("C"))
    return " ".join(kept.split())[-NAME_LENGTH:] or "-"
