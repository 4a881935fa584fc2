"""Bytes to text: size, encoding and control characters, before any format is tried."""

from __future__ import annotations

import re

from ledger.core.formats.faults import Faults

MOST_BYTES = 10 * 1024 * 1024
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_NOT_TEXT = (
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a zip archive or a workbook"),
    (b"\xd0\xcf\x11\xe0", "an old workbook"),
    (b"\x1f\x8b", "a compressed file"),
)


def decode(data: bytes, faults: Faults) -> str:
    """The file as text with plain newlines; raises BadInput when it is not text.

    UTF-8 first, whatever a header claims, since a wrong guess is then almost
    impossible; else Windows-1252, the habit of most exports in French.
    """
    if len(data) > MOST_BYTES:
        faults.add(
            0,
            "",
            f"the file is larger than {MOST_BYTES // (1024 * 1024)} MB",
            "Export a shorter period; a statement of one account is far smaller",
        )
        raise faults.stop()
    for magic, what in _NOT_TEXT:
        if data.startswith(magic):
            faults.add(0, "", f"this is {what}, not OFX or CSV", "Export the statement again")
            raise faults.stop()
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        faults.add(0, "", "the file is saved as UTF-16", "Save it as UTF-8")
        raise faults.stop()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        try:
            text = data.decode("cp1252")
        except UnicodeDecodeError as error:
            faults.add(
                data.count(b"\n", 0, error.start) + 1,
                "",
                "a byte here is neither UTF-8 nor Windows-1252",
                "Save the file as UTF-8",
            )
            raise faults.stop() from None
    text = text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\x1a \n\t")
    bad = _CONTROL.search(text)
    if bad:
        name = "a NUL byte" if bad.group() == "\x00" else "a control character"
        faults.add(
            text.count("\n", 0, bad.start()) + 1,
            "",
            f"the file holds {name}",
            "Export the statement again; the file is damaged or not a text file",
        )
        raise faults.stop()
    if not text.strip():
        faults.add(0, "", "the file is empty", "Export the statement again")
        raise faults.stop()
    return text
