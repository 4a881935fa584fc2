"""The trace pages by role, with odd entry ids, in both languages; the books as files."""

from __future__ import annotations

import csv
import json
import zipfile
from io import BytesIO, StringIO
from pathlib import Path

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from config.database import firm_scope
from ledger.selectors.books import household_books
from ledger.services.closing import asking
from planning.access import NotVisibleError
from planning.core.types import (
    Entry,
    Facility,
    Investment,
    Line,
    Member,
    Mortgage,
    Plan,
    Term,
)  # fmt: skip
from planning.models import Membership
from planning.services.grants import grant
from reports import trace_words
from reports.addresses import EntryId
from reports.selectors.trace import trace_year_page
from tests.cast import household_file, load, make_cast

ODD = ["a/b", "../x", "draw #7?", "é & <b>", "~dGVzdA", "x.y", "%2F", "-1", ' "q" ', "a\nb"]
FILE = json.loads(household_file("HH-1", "advisor@lockkeepers.example", "steady"))
STAFF = ("owner", "advisor", "assistant")
REFUSED = {"client": 403, "accountant": 403, "stranger": 404, "colleague": 404}


@pytest.fixture
def cast(db: None):
    """The cast around a household of fourteen months, closed."""
    found = make_cast("steady")
    for work in asking.plan_work(month="2026-02", first="2025-01", firm="Lockkeepers",
                                 household="HH-1"):  # fmt: skip
        asking.close_here(work)
    return found


def browser(cast, who: str) -> Client:
    """A browser with one of the cast signed in."""
    client = Client()
    client.force_login(getattr(cast, who))
    return client


def an_id(kind: str) -> str:
    """The id of the sample's first entry of a kind."""
    return next(
        entry["id"] for one in FILE["statements"] for entry in one["entries"]
        if entry["kind"] == kind
    )  # fmt: skip


def pages() -> dict[str, str]:
    """The addresses that only staff may open."""
    return {
        "year": reverse("trace_year", args=["HH-1", 2025]),
        "draw": reverse("trace_draw", args=["HH-1", 2025, an_id("draw")]),
        "interest": reverse("entry", args=["HH-1", an_id("interest")]),
        "payment": reverse("entry", args=["HH-1", an_id("payment")]),
        "restatements": reverse("restatements", args=["HH-1"]),
        "journal": reverse("books", args=["HH-1", "journal"]),
        "csv": reverse("books", args=["HH-1", "csv"]),
    }


@pytest.mark.parametrize("entry", ODD)
def test_one_entry_has_one_safe_address(entry: str) -> None:
    path = reverse("entry", args=["HH-1", entry])
    part = path.split("/")[-2]
    assert part.replace("~", "").replace(".", "").replace("-", "").replace("_", "").isalnum()
    assert EntryId().to_python(part) == entry


@pytest.mark.parametrize("part", ["~", "~dGVzdA=", "~%%", "~dGVzdB", "~bGluZS0x", "~__8", "a/b"])
def test_what_is_no_address_of_an_entry_is_not_found(cast, part: str) -> None:
    answer = browser(cast, "advisor").get(f"/households/HH-1/lines/{part}/")
    assert answer.status_code == 404


def test_who_may_open_the_pages(cast) -> None:
    for path in pages().values():
        for who in STAFF:
            assert browser(cast, who).get(path).status_code == 200, (who, path)
        for who, code in REFUSED.items():
            if who == "stranger":
                continue
            ungranted = who == "accountant" and path == pages()["year"]
            expected = 404 if ungranted else code
            assert browser(cast, who).get(path).status_code == expected, (who, path)
        assert browser(cast, "advisor").post(path).status_code == 405
        assert Client().get(path).status_code == 302


def test_a_stranger_finds_their_own_household_and_nothing_of_ours(cast) -> None:
    client = browser(cast, "stranger")
    for name in ("year", "draw", "interest"):
        # Their HH-1 has the same reference and is not closed.
        assert client.get(pages()[name]).status_code == 404
    with pytest.raises(NotVisibleError), firm_scope(cast.other_firm.pk):
        trace_year_page(cast.access("stranger"), cast.household.pk, 2025)
    with pytest.raises(NotVisibleError), firm_scope(cast.other_firm.pk):
        household_books(cast.access("stranger"), cast.household.pk, "csv")


def test_an_accountant_reads_the_granted_year_and_no_way_leads_on(cast) -> None:
    with firm_scope(cast.firm.pk):
        member = Membership.objects.get(user=cast.accountant)
    grant(access=cast.access("advisor"), ref="HH-1", year=2025, member_id=member.pk)
    client = browser(cast, "accountant")
    answer = client.get(pages()["year"])
    assert answer.status_code == 200
    text = answer.content.decode()
    for hidden in ("/lines/", "/draws/", "/trace/2026/", 'href="/households/'):
        assert hidden not in text, hidden
    assert client.get(reverse("trace_year", args=["HH-1", 2026])).status_code == 404
    for name in ("draw", "interest", "restatements", "csv"):
        assert client.get(pages()[name]).status_code == 403, name


def test_the_year_page_adds_up_to_the_close(cast) -> None:
    with firm_scope(cast.firm.pk):
        page = trace_year_page(cast.access("advisor"), "HH-1", 2025)
    assert page is not None
    assert page["closed_deductible"] is None
    total = page["totals"].deductible
    assert total == sum(row["part"].cents for row in page["draws"]) > 0
    text = browser(cast, "advisor").get(pages()["year"]).content.decode()
    for part in ("<svg", an_id("draw"), an_id("interest"), "20(1)(c)", "By use"):
        assert part in text, part


def test_a_draw_and_its_interest_lead_to_each_other(cast) -> None:
    client = browser(cast, "advisor")
    draw = client.get(pages()["draw"]).content.decode()
    assert reverse("trace_year", args=["HH-1", 2025]) in draw
    assert "docs/reference/tracing.md" in draw
    interest = client.get(pages()["interest"]).content.decode()
    assert pages()["draw"] in interest
    household = client.get(reverse("household", args=["HH-1"])).content.decode()
    assert reverse("trace_year", args=["HH-1", 2026]) in household
    assert reverse("books", args=["HH-1", "csv"]) in household
    assert "/trace/" in household


def test_a_client_sees_no_way_into_the_trace(cast) -> None:
    text = browser(cast, "client").get(reverse("household", args=["HH-1"])).content.decode()
    assert "HH-1" in text
    for hidden in ("/trace/", "/lines/", "/books/", "Restatements"):
        assert hidden not in text, hidden


@pytest.mark.parametrize("tail", ["trace/1999/", "trace/9999999999999999999/",
                                  "trace/2025/draws/none-such/", "lines/none-such/",
                                  "books/pdf/"])  # fmt: skip
def test_what_does_not_exist_is_not_found(cast, tail: str) -> None:
    assert browser(cast, "advisor").get(f"/households/HH-1/{tail}").status_code == 404


def test_pages_keep_the_strict_policy_and_speak_french(cast) -> None:
    client = browser(cast, "advisor")
    client.post("/language/", {"language": "fr", "next": "/"})
    for name in ("year", "draw", "interest", "payment", "restatements"):
        text = client.get(pages()[name]).content.decode()
        assert '<html lang="fr-CA">' in text
        assert "Rule" not in text
        for forbidden in (" style=", "<style", "onclick"):
            assert forbidden not in text


def test_entries_with_odd_ids_have_pages(db: None) -> None:
    cast = make_cast()
    text = json.dumps(FILE)
    for old, new in ((an_id("draw"), "odd/../id #1?"), (an_id("interest"), "é<b>")):
        text = text.replace(json.dumps(old), json.dumps(new))
    file = json.loads(text)
    file["household"]["ref"] = "HH-9"
    load(cast.system, json.dumps(file).encode())
    for work in asking.plan_work(month="2025-06", first="2025-01", firm="Lockkeepers",
                                 household="HH-9"):  # fmt: skip
        asking.close_here(work)
    client = browser(cast, "advisor")
    for entry in ("odd/../id #1?", "é<b>"):
        answer = client.get(reverse("entry", args=["HH-9", entry]))
        assert answer.status_code == 200
        assert "<b>" not in answer.content.decode()
    draw = client.get(reverse("trace_draw", args=["HH-9", 2025, "odd/../id #1?"]))
    assert draw.status_code == 200


def test_the_books_as_files(cast, tmp_path: Path) -> None:
    out = StringIO()
    for _ in range(2):
        out = StringIO()
        call_command("export_books", "HH-2", "--out", str(tmp_path), "--json", stdout=out)
    files = {Path(one["file"]).name: one for one in json.loads(out.getvalue())["files"]}
    assert {one.name for one in tmp_path.iterdir()} == set(files)
    assert len(files) == 5
    name = "books-HH-2-2026-02-deductions.csv"
    rows = list(csv.DictReader(StringIO((tmp_path / name).read_text("utf-8-sig"))))
    shown = StringIO()
    call_command("show_household", "HH-2", "--json", stdout=shown)
    report = json.loads(shown.getvalue())
    assert {row["year"]: row["deductible"] for row in rows} == {
        year: one["deductible"] for year, one in report["deductions"].items()
    }
    client = browser(cast, "owner")
    journal = client.get(reverse("books", args=["HH-2", "journal"]))
    assert journal.content == (tmp_path / "books-HH-2-2026-02.journal").read_bytes()
    assert "no-store" in journal.headers["Cache-Control"]
    answer = client.get(reverse("books", args=["HH-2", "csv"]))
    assert answer.headers["Content-Disposition"] == 'attachment; filename="books-HH-2-2026-02.zip"'
    archive = zipfile.ZipFile(BytesIO(answer.content))
    assert archive.read(name) == (tmp_path / name).read_bytes()


def test_the_export_refuses_bad_input_and_writes_nothing(cast, tmp_path: Path) -> None:
    taken = tmp_path / "taken"
    taken.write_text("x")
    out = tmp_path / "out"
    for words in (("HH-77", "--out", str(out)), ("HH-2", "--out", str(taken)),
                  ("HH-1", "--out", str(out))):  # fmt: skip
        with pytest.raises(SystemExit) as left:
            call_command("export_books", *words, stderr=StringIO())
        assert left.value.code == 2
    assert {one.name for one in tmp_path.iterdir()} == {"taken"}


def test_every_field_of_a_fact_has_its_words() -> None:
    for one in (Entry, Facility, Investment, Line, Member, Mortgage, Plan, Term):
        for name in one.__dataclass_fields__:
            plain = name.removesuffix("_cents")
            if plain not in ("id", "ref", "terms"):
                assert plain in trace_words.FIELD_WORDS, (one, plain)
