"""The packet as PDF: its figures, cautions, language, tags; the same bytes; nothing fetched."""

from __future__ import annotations

import hashlib
import io
import json
import subprocess
import sys
from datetime import date
from pathlib import Path

import pikepdf
import pypdf
import pytest

from reports.packets.quarterly import quarterly_data
from reports.packets.words import CAUTIONS
from reports.rendering import ReferenceRefusedError, pdf_bytes, render_packet, toolchain
from tests.reports import sample

ROOT = Path(__file__).resolve().parents[2]
HOSTILE = (
    "<script>alert(1)</script>",
    '<img src="http://intruder.example/x.png">',
    '<img src="file:///etc/passwd">',
    "<style>@import url(http://intruder.example/x.css)</style>",
    "{{ settings.SECRET_KEY }}{% load static %}",
    '" onload="x" <svg><image href="file:///etc/hostname"/></svg>',
    "</title><link rel=attachment href='file:///etc/passwd'>",
    "%(name)s {0} {amount} %s",
)


def data(language="en", household=None, report=None):
    """The sample's snapshot, as it comes back from storage."""
    snapshot = quarterly_data(
        household or sample.household(),
        report or sample.report(),
        2026,
        3,
        language,
        date(2026, 10, 10),
    )
    return json.loads(json.dumps(snapshot))


@pytest.fixture(scope="module")
def english():
    return render_packet(data())


@pytest.fixture(scope="module")
def french():
    return render_packet(data("fr"))


def text_of(pdf):
    """All text, spaces and line breaks made one space."""
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).replace("\u00a0", " ").split())


def test_english_figures(english):
    text = text_of(english)
    for part in (
        "Heron Quay, Q3 2026",
        "$397,900.00",  # mortgage owed
        "$6,000.00",  # line owed
        "$812.34",  # room left unused
        "Draw $812.34 on line and send it the same day to inv.",
        "$705.18",  # October's re-borrowing
        "Oct 15, 2026",
        "Dated October 10, 2026",
        "confirm-0715",
        "Mar 15, 2027",  # renewal
        "2 matters need action now.",
        "Engine 0.1.0",
    ):
        assert part in text, part


def test_french_figures(french):
    text = text_of(french)
    for part in (
        "Heron Quay, T3 2026",
        "397 900,00 $",
        "Emprunter 812,34 $ sur line et les envoyer le jour même à inv.",
        "15 oct. 2026",
        "Daté du 10 octobre 2026",
        "2 constats demandent un geste immédiat.",
        "À faire maintenant",
    ):
        assert part in text, part
    for english_word in ("What to do next", "Mortgage owed", "Deductible", "Findings"):
        assert english_word not in text, english_word


def test_cautions_on_every_page(english):
    pages = pypdf.PdfReader(io.BytesIO(english)).pages
    assert len(pages) >= 5
    for page in pages:
        words = " ".join(page.extract_text().split())
        assert "Leverage magnifies losses." in words
        assert "Not tax, legal or investment advice" in words
    whole = text_of(english)
    for caution in CAUTIONS:
        assert " ".join(caution.split()) in whole


def test_one_page_summary_stands_alone(english):
    first = " ".join(pypdf.PdfReader(io.BytesIO(english)).pages[0].extract_text().split())
    for part in ("What to do next", "Next dates", "By", "$3,000.00", "draw only after the split"):
        assert part in first, part
    assert "Plan against actual" not in first


def test_tagged_titled_and_in_a_language(english, french):
    for pdf, language, title in (
        (english, "en-CA", "Quarterly review, Q3\u00a02026: Heron Quay"),
        (french, "fr-CA", "Bilan trimestriel, T3\u00a02026\u00a0: Heron Quay"),
    ):
        with pikepdf.open(io.BytesIO(pdf)) as opened:
            assert str(opened.Root.Lang) == language
            assert bool(opened.Root.MarkInfo.Marked)
            assert str(opened.docinfo["/Title"]) == title
            assert str(opened.docinfo["/CreationDate"]).startswith("D:20261010120000")
            with opened.open_metadata() as metadata:
                assert metadata["pdfuaid:part"] == "1"
            kinds = [str(one.get("/S")) for one in elements(opened)]
            assert kinds.count("/Figure") >= 3
            heads = [one for one in elements(opened) if one.get("/S") == "/TH"]
            assert heads
            assert {str(one["/A"]["/Scope"]) for one in heads} == {"/Column", "/Row"}
            figures = [one for one in elements(opened) if one.get("/S") == "/Figure"]
            assert all(len(str(one["/Alt"])) > 30 for one in figures)


def elements(opened):
    """Every structure element of an opened PDF."""
    return [
        one
        for one in opened.objects
        if isinstance(one, pikepdf.Dictionary) and one.get("/Type") == "/StructElem"
    ]


def test_only_bundled_fonts(english):
    with pikepdf.open(io.BytesIO(english)) as opened:
        fonts = {
            str(one["/FontName"])
            for one in opened.objects
            if isinstance(one, pikepdf.Dictionary) and "/FontName" in one
        }
    assert fonts
    assert all("IBM-Plex-Sans" in name for name in fonts)


def test_same_bytes_in_two_processes_with_other_hash_seeds():
    code = (
        "import django, hashlib; django.setup()\n"
        "from tests.reports.test_rendering import data\n"
        "from reports.rendering import render_packet\n"
        "print(hashlib.sha256(render_packet(data('fr'))).hexdigest())"
    )
    answers = set()
    for seed in ("1", "4242"):
        done = subprocess.run(
            [sys.executable, "-c", code],
            cwd=ROOT,
            env=_environment(seed),
            check=True,
            capture_output=True,
            text=True,
        )
        answers.add(done.stdout.strip())
    answers.add(hashlib.sha256(render_packet(data("fr"))).hexdigest())
    assert len(answers) == 1


def _environment(seed):
    import os

    return os.environ | {
        "PYTHONHASHSEED": seed,
        "PYTHONPATH": os.pathsep.join([str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]),
    }


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_names_are_printed_not_obeyed(text):
    household = sample.household(
        household={"ref": sample.REF, "name": text, "province": "ON", "advisor": None},
    )
    report = sample.report()
    report["drift"][0]["evidence"] = [text]
    pdf = render_packet(data(household=household, report=report))
    shown = text_of(pdf).replace(" ", "")
    assert text.replace(" ", "")[:24] in shown
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert "/EmbeddedFiles" not in (opened.Root.get("/Names") or {})


@pytest.mark.parametrize(
    "html",
    [
        '<img src="http://127.0.0.1:9/x.png">',
        '<img src="file:///etc/hostname">',
        '<link rel="stylesheet" href="https://intruder.example/x.css">',
        '<link rel="attachment" href="file:///etc/hostname">',
        "<style>@import url(file:///etc/hostname);</style>",
        '<div style="background: url(data:image/png;base64,AAAA)">x</div>',
        '<img src="towpath:fonts/../packet.css">',
    ],
)
def test_any_other_reference_stops_the_render(html):
    page = f"<html lang='en'><head><title>t</title></head><body>{html}</body></html>"
    with pytest.raises(ReferenceRefusedError, match="may not refer"):
        pdf_bytes(page, {})


def test_reference_inside_a_drawing_stops_the_render():
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        'width="9" height="9"><image xlink:href="file:///etc/hostname" width="9" height="9"/></svg>'
    )
    page = "<html lang='en'><head><title>t</title></head><body><img alt='a' src='towpath:chart/x'>"
    with pytest.raises(ReferenceRefusedError, match="may not refer"):
        pdf_bytes(page, {"towpath:chart/x": svg})


def test_empty_cases_render():
    calm = render_packet(data(report=sample.report(drift=[])))
    assert "Nothing has drifted." in text_of(calm)
    bare = render_packet(
        data(household=sample.household(plan=None), report=sample.report(plan=[], drift=[]))
    )
    assert "No plan is on file; actual figures stand alone." in text_of(bare)


def test_toolchain_names_what_drew_the_bytes():
    found = toolchain()
    assert found["weasyprint"] == "70.0"
    assert len(found["fonts"]) == 16
