"""What is taken for a paper and what is refused, by the bytes alone."""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from ledger.core.paper_kinds import KINDS, MOST_BYTES, NotAPaperError, paper_kind, shown_name
from ledger.paper_files import looked_through, picture
from reports.selectors.draws import PAPER_WORDS
from tests import papers


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (papers.TEXT, "text"),
        ("Avis d'exécution; 828,68\r\n".encode(), "text"),
        ("Avis d'exécution".encode("cp1252"), "text"),
        (b"2 < 3, and 4 > 3\n", "text"),
        (papers.image("PNG"), "png"),
        (papers.image("JPEG"), "jpeg"),
        (papers.pdf(), "pdf"),
    ],
)
def test_four_kinds_are_taken(content: bytes, kind: str) -> None:
    assert looked_through(content) == kind


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "empty"),
        (papers.HTML, "web page"),
        (papers.SVG, "web page or a drawing"),
        (b'<?xml version="1.0"?>\n' + papers.SVG, "web page or a drawing"),
        (b"date,amount\n2025-01-01,<ScRiPt>1</script>\n", "web page"),
        (papers.HTML.decode().encode("utf-16"), "neither"),
        (b"MZ\x90\x00\x03\x00", "neither"),
        (b"PK\x03\x04" + b"\0" * 40, "neither"),
        (b"GIF89a" + b"\0" * 40, "neither"),
        (papers.image() + papers.HTML, "behind the end of the picture"),
        (papers.image()[:-8], "breaks off"),
        (papers.image("JPEG")[:60], "cannot be drawn"),
        (b"\xff\xd8\xff" + papers.HTML, "cannot be drawn"),
        (papers.image()[:8] + papers.HTML, "breaks off"),
        (papers.HTML + papers.pdf(), "web page"),
        (b"%PDF-1.7\n" + papers.HTML + b"\n%%EOF", "cannot be read"),
        (papers.pdf()[:-30], "breaks off"),
        (papers.pdf("app.alert(1)"), "script"),
        (papers.pdf(files=True), "script, or files"),
        (papers.pdf(password="locked"), "password"),
    ],
)
def test_everything_else_is_refused_and_told_why(content: bytes, why: str) -> None:
    with pytest.raises(NotAPaperError, match=why) as told:
        looked_through(content)
    assert str(told.value) in PAPER_WORDS, "no page says it in French"


def test_a_byte_too_many_is_refused() -> None:
    assert paper_kind(b"a" * MOST_BYTES) == "text"
    with pytest.raises(NotAPaperError, match="larger than 10 MB"):
        paper_kind(b"a" * (MOST_BYTES + 1))


def test_a_small_file_that_unfolds_into_a_huge_picture_is_refused() -> None:
    out = BytesIO()
    Image.new("1", (9000, 9000)).save(out, "PNG")
    assert len(out.getvalue()) < 100_000
    with pytest.raises(NotAPaperError, match="40 million pixels"):
        looked_through(out.getvalue())


@pytest.mark.parametrize("form", ["PNG", "JPEG"])
def test_a_picture_drawn_anew_keeps_its_pixels_and_nothing_else(form: str) -> None:
    content = papers.image(form)
    drawn = picture(content, form.lower())
    assert b"script" not in drawn
    with Image.open(BytesIO(drawn)) as found:
        assert found.format == "PNG"
        assert found.size == (40, 30)
        assert not found.info
        assert all(
            abs(a - b) < 4 for a, b in zip(found.getpixel((5, 5)), (28, 93, 134), strict=True)
        )


def test_a_large_picture_is_drawn_smaller() -> None:
    with Image.open(BytesIO(picture(papers.image(size=(2800, 700)), "png"))) as found:
        assert found.size == (1400, 350)


@given(st.binary(max_size=400))
def test_any_bytes_have_a_kind_or_a_reason(content: bytes) -> None:
    assert answered(paper_kind, content) in {*KINDS, *PAPER_WORDS}


@given(st.binary(max_size=60), st.integers(0, 10**6), st.sampled_from(["png", "jpeg", "pdf"]))
def test_damaged_papers_never_raise_anything_else(junk: bytes, at: int, kind: str) -> None:
    whole = {"png": papers.image(), "jpeg": papers.image("JPEG"), "pdf": PDF}[kind]
    place = at % len(whole)
    bent = whole[:place] + junk + whole[place + len(junk) :]
    assert answered(looked_through, bent) in {*KINDS, *PAPER_WORDS}


def answered(look: Callable[[bytes], str], content: bytes) -> str:
    """The kind, or the reason why there is none."""
    try:
        return look(content)
    except NotAPaperError as error:
        return str(error)


PDF = papers.pdf()


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\Users\\me\\avis d'exécution.pdf", "avis d'exécution.pdf"),
        ('a"\r\nSet-Cookie: x=1.pdf', 'a"Set-Cookie: x=1.pdf'),
        ("invoice\u202efdp.exe", "invoicefdp.exe"),
        ("", "-"),
        ("x" * 400, "x" * 120),
    ],
)
def test_a_name_is_for_display_alone(name: str, shown: str) -> None:
    assert shown_name(name) == shown
