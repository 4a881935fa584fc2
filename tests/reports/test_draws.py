"""The pages of draws: who sees and decides, what is previewed and saved, what uploads may do."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import NoReverseMatch, reverse
from hypothesis import given
from hypothesis import strategies as st

from ledger import models as rows
from ledger.core.paper_kinds import MOST_BYTES
from reports.addresses import EntryId
from reports.use_form import _cents
from tests import papers
from tests.reports import sample
from tests.reports.conftest import CANARY, CANARY_REF, Book, load
from tests.reports.sample import REF

AUGUST = "line-2026-08-1"
DRAWS = reverse("draws", args=[REF])
PAGE = reverse("draw", args=[REF, AUGUST])
HAND_IN = reverse("hand_in", args=[REF, AUGUST])
FILLED = {
    "amount-0": "2,000.00",
    "use-0": "income-investment",
    "to-0": "inv",
    "other-0": "confirm-0815, confirm-0816",
    "reason": "the trade confirmation of August 15",
    "seen": "0",
}


def mark_in(page: str) -> str:
    found = re.search(r'name="previewed" value="([0-9a-f]{64})"', page)
    assert found, page
    return found[1]


def preview_and_save(client: Client, path: str, said: dict[str, str]) -> Any:
    preview = client.post(path, said | {"preview": "1"})
    assert preview.status_code == 200
    return client.post(path, said | {"save": "1", "previewed": mark_in(preview.content.decode())})


def decisions(book: Book, draw: str = AUGUST) -> list[tuple[int, str]]:
    access = book.access()
    with access.opened():
        found = rows.DrawUse.objects.filter(household__ref=REF, draw=draw).order_by("revision")
        return [(one.revision, one.reason) for one in found.all()]


@pytest.mark.parametrize("role", ["principal", "advisor", "assistant"])
def test_staff_sees_every_draw_and_what_it_lacks(book: Book, role: str):
    text = book.signed_in(role).get(DRAWS).content.decode()
    assert text.index("line-2026-07-1") < text.index(AUGUST) < text.index("line-2026-09-1")
    assert "say what it was used for" in text
    assert "hand in the named paper" in text
    assert CANARY not in text
    assert PAGE in text
    assert DRAWS in book.signed_in(role).get(reverse("household", args=[REF])).content.decode()


def test_a_client_sees_neither_the_pages_nor_links_to_them(book: Book):
    client = book.signed_in("client")
    for path in (DRAWS, PAGE):
        assert client.get(path).status_code == 403
    assert client.post(PAGE, FILLED).status_code == 403
    assert client.post(HAND_IN).status_code == 403
    assert "/draws/" not in client.get(reverse("household", args=[REF])).content.decode()


def test_a_stranger_gets_the_same_answer_as_for_nothing(book: Book):
    kept = handed_in(book, papers.image()).pk
    client = book.signed_in("stranger")
    paths = [DRAWS, PAGE, reverse("paper", args=[REF, kept]), reverse("picture", args=[REF, kept])]
    for path in paths:
        assert client.get(path).status_code == 404
        assert client.get(path.replace(REF, CANARY_REF)).status_code == (
            200 if path in (DRAWS, PAGE) else 404
        )
    for path in (PAGE, HAND_IN, reverse("take_back", args=[REF, AUGUST, kept])):
        assert client.post(path, FILLED | {"reason": "mine"}).status_code == 404
    assert decisions(book) == []


def test_an_assistant_hands_in_and_does_not_decide(book: Book):
    client = book.signed_in("assistant")
    text = client.get(PAGE).content.decode()
    assert "Hand in" in text
    assert "Preview what it changes" not in text
    assert client.post(PAGE, FILLED).status_code == 403
    kept = handed_in(book, papers.TEXT, "assistant")
    assert client.post(reverse("take_back", args=[REF, AUGUST, kept.pk])).status_code == 403


def test_a_decision_is_previewed_then_saved_then_shown(book: Book):
    client = book.signed_in("advisor")
    preview = client.post(PAGE, FILLED | {"preview": "1"}).content.decode()
    assert "What this would change" in preview
    assert "Closes" in preview
    assert "Opens" not in preview
    assert decisions(book) == []
    saved = preview_and_save(client, PAGE, FILLED)
    assert (saved.status_code, saved.headers["Location"]) == (302, PAGE)
    assert decisions(book) == [(1, FILLED["reason"])]
    text = client.get(PAGE).content.decode()
    for part in (
        "The decision is recorded",
        "confirm-0815, confirm-0816",
        "iona.marsh",
        "in force",
    ):
        assert part in text, part
    assert (
        "A late or corrected fact" in client.get(reverse("household", args=[REF])).content.decode()
    )
    again = preview_and_save(client, PAGE, FILLED | {"seen": "1"})
    assert again.status_code == 302
    assert len(decisions(book)) == 1


def test_what_was_not_previewed_is_previewed_and_not_saved(book: Book):
    client = book.signed_in("advisor")
    mark = mark_in(client.post(PAGE, FILLED | {"preview": "1"}).content.decode())
    for more in (
        {},
        {"amount-0": "1999.99"},
        {"reason": "another"},
        {"to-0": "", "use-0": "personal"},
    ):
        said = FILLED | more | {"save": "1", "previewed": mark if more else ""}
        assert "What this would change" in client.post(PAGE, said).content.decode()
    assert decisions(book) == []


def test_somebody_decided_meanwhile(book: Book):
    preview_and_save(book.signed_in("principal"), PAGE, FILLED | {"use-0": "personal", "to-0": ""})
    client = book.signed_in("advisor")
    late = preview_and_save(client, PAGE, FILLED)
    assert late.status_code == 409
    assert "Somebody decided about this draw" in late.content.decode()
    assert len(decisions(book)) == 1
    assert preview_and_save(client, PAGE, FILLED | {"seen": "1"}).status_code == 302
    assert len(decisions(book)) == 2


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"amount-0": "2000.01"}, "more than the draw"),
        ({"amount-0": "1e3"}, "Write an amount"),
        ({"amount-0": "-5"}, "Write an amount"),
        ({"use-0": "gambling"}, "Choose what this part"),
        ({"to-0": ""}, "Choose the investment account"),
        ({"to-0": "line"}, "Choose the investment account"),
        ({"to-0": "nowhere"}, "Choose an account"),
        ({"use-0": "refinance"}, "Choose the line that was paid off"),
        ({"of-0": "eligible"}, "Only a refinancing"),
        ({"other-0": "x" * 201}, "200 plain characters"),
        ({"reason": " "}, "Say how you know"),
        ({"reason": "x" * 1001}, "1,000 plain"),
        ({"reason": "a\x00b"}, "1,000 plain"),
        ({"amount-0": "", "use-0": "", "to-0": "", "other-0": ""}, "Fill at least one row"),
        ({"amount-1": "1", "use-1": "personal"}, "more than the draw"),
    ],
)
def test_what_is_wrong_is_said_in_place_and_nothing_saved(
    book: Book, more: dict[str, str], words: str
):
    answer = book.signed_in("advisor").post(PAGE, FILLED | more | {"save": "1"})
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert decisions(book) == []


def test_a_claim_is_taken_back_with_every_row_empty(book: Book):
    client = book.signed_in("advisor")
    preview_and_save(client, PAGE, FILLED)
    answer = preview_and_save(client, PAGE, {"reason": "it was another draw", "seen": "1"})
    assert answer.status_code == 302
    assert "The claim was taken back." in client.get(PAGE).content.decode()


def handed_in(book: Book, content: bytes, role: str = "advisor", name: str = "paper.pdf") -> Any:
    client = book.signed_in(role)
    answer = client.post(HAND_IN, {"files": SimpleUploadedFile(name, content)})
    assert answer.status_code == 302, answer.content.decode()
    with book.access().opened():
        return rows.EvidencePaper.objects.filter(household__ref=REF).latest("recorded_at")


@pytest.mark.parametrize(
    ("name", "kind", "content", "words"),
    [
        ("confirm.png", "image/png", papers.HTML, "web page"),
        ("confirm.svg", "image/svg+xml", papers.SVG, "web page or a drawing"),
        ("confirm.png", "image/png", papers.SVG, "web page or a drawing"),
        ("confirm.png", "image/png", papers.image() + papers.HTML, "behind the end"),
        ("confirm.pdf", "application/pdf", papers.pdf("app.alert(1)"), "script"),
        ("confirm.txt", "text/plain", b"a" * (MOST_BYTES + 1), "larger than 10 MB"),
        ("confirm.txt", "text/plain", b"", "empty"),
    ],
)
def test_attacks_by_upload_are_refused_and_told(
    book: Book, name: str, kind: str, content: bytes, words: str
):
    client = book.signed_in("advisor")
    answer = client.post(HAND_IN, {"files": SimpleUploadedFile(name, content, kind)})
    assert answer.status_code == 422
    assert words in answer.content.decode()
    with book.access().opened():
        assert not rows.EvidenceContent.objects.exists()


def test_a_form_without_a_file_is_told(book: Book):
    answer = book.signed_in("advisor").post(HAND_IN)
    assert answer.status_code == 422
    assert "Hand in 1 to 10" in answer.content.decode()


@pytest.mark.parametrize("content", [papers.image("JPEG"), papers.pdf(), papers.TEXT])
def test_a_paper_leaves_only_as_a_file_that_nothing_opens(book: Book, content: bytes):
    kept = handed_in(book, content, name='..\\..\\"><script>.html')
    client = book.signed_in("advisor")
    answer = client.get(reverse("paper", args=[REF, kept.pk]))
    assert answer.content == content
    assert answer.headers["Content-Type"] == "application/octet-stream"
    name = answer.headers["Content-Disposition"]
    assert re.fullmatch(r'attachment; filename="paper-[0-9a-f]{12}\.(jpg|pdf|txt)"', name)
    assert harmless(answer)
    page = client.get(PAGE).content.decode()
    assert "&quot;&gt;&lt;script&gt;.html" in page
    assert "<script>" not in page


def test_a_picture_is_shown_drawn_anew(book: Book):
    kept = handed_in(book, papers.image("JPEG"))
    client = book.signed_in("advisor")
    path = reverse("picture", args=[REF, kept.pk])
    answer = client.get(path)
    assert answer.headers["Content-Type"] == "image/png"
    assert answer.content.startswith(b"\x89PNG")
    assert b"script" not in answer.content
    assert harmless(answer)
    assert f'<img src="{path}"' in client.get(PAGE).content.decode()
    text = handed_in(book, papers.TEXT)
    assert client.get(reverse("picture", args=[REF, text.pk])).status_code == 404


def harmless(answer: Any) -> bool:
    policy = answer.headers["Content-Security-Policy"]
    return (
        "default-src 'none'" in policy
        and "sandbox" in policy
        and answer.headers["X-Content-Type-Options"] == "nosniff"
        and answer.headers["Cache-Control"] == "no-store"
    )


def test_text_is_shown_escaped(book: Book):
    handed_in(book, b"<b>bold</b> & 828.68\n")
    page = book.signed_in("advisor").get(PAGE).content.decode()
    assert "&lt;b&gt;bold&lt;/b&gt; &amp; 828.68" in page


def test_a_paper_taken_back_supports_nothing_and_stays(book: Book):
    kept = handed_in(book, papers.TEXT)
    client = book.signed_in("advisor")
    said = FILLED | {"paper-0": kept.ref, "other-0": ""}
    preview_and_save(client, PAGE, said)
    path = reverse("take_back", args=[REF, AUGUST, kept.pk])
    assert client.post(path, {"reason": ""}).status_code == 422
    assert client.post(path, {"reason": "another trade"}).status_code == 302
    text = client.get(PAGE).content.decode()
    assert "1 paper taken back" in text
    assert [one for one, _why in decisions(book)] == [1, 2]
    assert client.get(reverse("paper", args=[REF, kept.pk])).content == papers.TEXT


def test_a_paper_of_another_household_is_not_there(book: Book):
    more = sample.file()
    more["household"] |= {"ref": "HH-0801", "name": "Curlew Bay"}
    load(book.firm_id, more)
    kept = handed_in(book, papers.TEXT)
    path = reverse("paper", args=["HH-0801", kept.pk])
    assert book.signed_in("principal").get(path).status_code == 404
    assert book.signed_in("principal").get(path.replace("HH-0801", REF)).status_code == 200


@pytest.mark.parametrize("draw", ["nothing", "line-2026-07-1x", "~", "~bm90aGluZw", "~!!", "mtg"])
def test_draws_that_are_none(book: Book, draw: str):
    path = f"/households/{REF}/draws/{draw}/"
    assert book.signed_in("advisor").get(path).status_code == 404


@pytest.mark.parametrize("draw", ["a/b?c=%2e#d", "..", "é « draw » 7", "~x", "a.b", "\u202e"])
def test_an_id_of_any_letters_has_its_page(book: Book, draw: str):
    file = sample.file()
    file["household"] |= {"ref": "HH-0802", "name": "Curlew Bay"}
    file["statements"][0]["entries"][1]["id"] = draw
    load(book.firm_id, file)
    client = book.signed_in("advisor")
    assert (
        preview_and_save(client, reverse("draw", args=["HH-0802", draw]), FILLED).status_code == 302
    )
    assert client.get(reverse("draws", args=["HH-0802"])).status_code == 200


@given(st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=120))
def test_every_id_has_one_address(name: str) -> None:
    converter = EntryId()
    address = converter.to_url(name)
    assert re.fullmatch(converter.regex, address)
    assert address not in (".", "..")
    assert converter.to_python(address) == name


@pytest.mark.parametrize("address", ["~YQ", "~YQ==", "~_w", "~", "~*", ".hidden", "x" * 121])
def test_an_address_that_no_id_has(address: str) -> None:
    with pytest.raises(ValueError, match="not an address"):
        EntryId().to_python(address)


@pytest.mark.parametrize(
    ("text", "cents"),
    [
        ("1204.37", 120437), ("1,204.37", 120437), ("$ 1 204,37", 120437),
        ("1\u00a0204,37", 120437),
        ("12,5", 1250), ("1,204", 120400), ("7", 700), ("0", 0), ("1,20,4", None), ("1.234", None),
        ("١٢", None), ("1e3", None), ("-1", None), ("", None), ("9" * 13, None),
    ],
)  # fmt: skip
def test_amounts_as_people_write_them(text: str, cents: int | None) -> None:
    assert _cents(text) == cents


@pytest.mark.parametrize("path", [DRAWS, PAGE])
def test_pages_obey_the_strict_policy_and_speak_french(book: Book, path: str):
    client = book.signed_in("advisor")
    answer = client.get(path)
    assert "unsafe" not in answer.headers["Content-Security-Policy"]
    for forbidden in (" style=", "<style", "onclick", "<script", "https://"):
        assert forbidden not in answer.content.decode(), forbidden
    client.post("/language/", {"language": "fr", "next": "/"})
    text = client.get(path).content.decode()
    assert '<html lang="fr-CA">' in text
    for english in ("Draws and", "Missing", "Papers", "Hand in", "Decisions", "say what"):
        assert english not in text, english


def test_a_refused_paper_is_told_in_french(book: Book):
    client = book.signed_in("advisor")
    client.post("/language/", {"language": "fr", "next": "/"})
    answer = client.post(HAND_IN, {"files": SimpleUploadedFile("avis.png", papers.HTML)})
    assert "page Web ou un dessin en texte" in answer.content.decode()
    assert "Remettez un PDF" in answer.content.decode()


def test_a_french_amount_is_read(book: Book):
    client = book.signed_in("advisor")
    client.post("/language/", {"language": "fr", "next": "/"})
    assert preview_and_save(client, PAGE, FILLED | {"amount-0": "1 999,50"}).status_code == 302


def test_queries_do_not_grow_with_the_draws(book: Book):
    client = book.signed_in("advisor")
    client.get(DRAWS)
    with CaptureQueriesContext(connection) as few:
        client.get(DRAWS)
    file = sample.file()
    line = file["statements"][0]
    line["entries"] += [
        {"id": f"more-{n}", "date": "2026-09-20", "kind": "draw", "amount": "1.00"}
        for n in range(9)
    ]
    line["closing"] = "6009.00"
    load(book.firm_id, file)
    with CaptureQueriesContext(connection) as many:
        assert client.get(DRAWS).content.decode().count("more-") >= 9
    assert len(few) == len(many)


def test_no_address_without_an_id() -> None:
    with pytest.raises(NoReverseMatch):
        reverse("draw", args=[REF, ""])
