"""Papers to hand in, made here: good ones of every kind, and such as are refused."""

from __future__ import annotations

from io import BytesIO

import pikepdf
from PIL import Image

TEXT = b"Trade confirmation\n2025-03-10 bought 41.434 units for 828.68\n"
HTML = b"<!DOCTYPE html><html><script>alert(1)</script></html>"
SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'


def image(form: str = "PNG", colour: str = "#1c5d86", size: tuple[int, int] = (40, 30)) -> bytes:
    """A picture of one colour, with a comment inside where the format has one."""
    out = BytesIO()
    more = {"comment": b"<script>alert(1)</script>"} if form == "JPEG" else {}
    Image.new("RGB", size, colour).save(out, form, **more)
    return out.getvalue()


def pdf(script: str = "", *, files: bool = False, password: str = "") -> bytes:
    """A PDF of one empty page; with a script, a file of its own, or a password."""
    made = pikepdf.new()
    made.add_blank_page(page_size=(200, 200))
    if script:
        action = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS=pikepdf.String(script))
        made.Root.OpenAction = made.make_indirect(action)
    if files:
        made.attachments["inner.txt"] = b"inner"
    out = BytesIO()
    lock = pikepdf.Encryption(owner=password, user=password) if password else None
    made.save(out, encryption=lock) if lock else made.save(out)
    return out.getvalue()
