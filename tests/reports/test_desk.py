"""The desk by role: what each sees, what stays hidden, what every page carries."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests.reports import sample
from tests.reports.conftest import CANARY, CANARY_REF, load
from tests.reports.sample import REF

HOUSEHOLD = reverse("household", args=[REF])
MONTH = reverse("month", args=[REF, "2026-09"])
PAGES = {"book": "/", "household": HOUSEHOLD, "month": MONTH, "runs": "/runs/"}
CAUTION = "Not tax, legal or investment advice"


@pytest.mark.parametrize("role", ["principal", "advisor", "assistant"])
@pytest.mark.parametrize("page", PAGES)
def test_staff_sees_the_book(book, role, page):
    answer = book.signed_in(role).get(PAGES[page])
    text = answer.content.decode()
    assert answer.status_code == 200
    assert CAUTION in text
    assert CANARY not in text
    assert CANARY_REF not in text
    if page != "runs":
        assert "Heron Quay" in text


def test_book(book):
    text = book.signed_in("advisor").get("/").content.decode()
    for part in ("Heron Quay", REF, "Line mixes eligible and ineligible use", "$3,000.00", "Sep"):
        assert part in text, part


def test_household(book):
    text = book.signed_in("advisor").get(HOUSEHOLD).content.decode()
    for part in (
        "<svg",
        "To do in October",
        "Findings and remedies",
        "line-2026-08-1",
        "confirm-0715",
        "Mar\u00a015,\u00a02027",
        "No packet has been issued.",
    ):
        assert part in text, part


def test_month(book):
    text = book.signed_in("advisor").get(MONTH).content.decode()
    for part in ("September", "Plan against actual", "Room freed by principal", "Engine"):
        assert part in text, part


def test_a_months_findings_are_those_of_its_own_close(book):
    client = book.signed_in("advisor")
    early = client.get(reverse("month", args=[REF, "2026-07"])).content.decode()
    late = client.get(MONTH).content.decode()
    assert "Line mixes eligible and ineligible use" not in early
    assert "Line mixes eligible and ineligible use" in late


@pytest.mark.parametrize("path", [HOUSEHOLD, MONTH])
def test_a_stranger_gets_the_same_answer_as_for_nothing(book, path):
    client = book.signed_in("stranger")
    forbidden = client.get(path)
    absent = client.get(path.replace(REF, "HH-0000"))
    assert forbidden.status_code == absent.status_code == 404
    without_token = [
        "".join(line for line in answer.content.decode().splitlines() if "csrf" not in line)
        for answer in (forbidden, absent)
    ]
    assert without_token[0].replace(REF, "") == without_token[1].replace("HH-0000", "")
    assert "Heron Quay" not in forbidden.content.decode()


def test_a_stranger_sees_their_own_book_alone(book):
    text = book.signed_in("stranger").get("/").content.decode()
    assert CANARY in text
    assert "Heron Quay" not in text


def test_a_client_sees_their_own_household_without_findings(book):
    client = book.signed_in("client")
    assert client.get("/").headers["Location"] == HOUSEHOLD
    text = client.get(HOUSEHOLD).content.decode()
    assert "Heron Quay" in text
    assert "<svg" in text
    assert CAUTION in text
    for hidden in ("Findings and remedies", "Line mixes eligible", "draw only after the split"):
        assert hidden not in text, hidden
    assert client.get("/runs/").status_code == 403


def test_nobody_and_a_person_without_a_firm(book, client):
    for path in PAGES.values():
        answer = client.get(path)
        assert answer.status_code == 302
        assert answer.headers["Location"].startswith("/login/")
        assert book.signed_in("nobody").get(path).status_code == 403


def test_sign_in_and_out(book, client):
    page = client.get("/login/")
    assert CAUTION in page.content.decode()
    wrong = client.post("/login/", {"login": "iona.marsh@fernhollow.example", "password": "no"})
    assert "not correct" in wrong.content.decode()
    right = client.post(
        "/login/",
        {"login": "Iona.Marsh@fernhollow.example", "password": "correct horse battery"},
    )
    assert right.status_code == 302
    assert "Heron Quay" in client.get("/").content.decode()
    client.post("/logout/")
    assert client.get("/").status_code == 302


@pytest.mark.parametrize("page", PAGES)
def test_pages_obey_the_strict_policy(book, page):
    answer = book.signed_in("advisor").get(PAGES[page])
    text = answer.content.decode()
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "no-store" in answer.headers["Cache-Control"]
    for forbidden in (" style=", "<style", "onclick", "javascript:", "http://", "https://"):
        found = text.replace("http://www.w3.org/", "")
        assert forbidden not in found, forbidden


@pytest.mark.parametrize("page", PAGES)
def test_pages_in_french(book, page):
    client = book.signed_in("advisor")
    client.post("/language/", {"language": "fr", "next": "/"})
    text = client.get(PAGES[page]).content.decode()
    assert '<html lang="fr-CA">' in text
    assert "Ni conseil fiscal" in text
    assert "Sign out" not in text


@pytest.mark.parametrize(
    ("query", "seen"),
    [
        ("?q=heron", True),
        ("?q=hh-0700", True),
        ("?q=nobody", False),
        ("?severity=act", True),
        ("?severity=none-such", True),
        ("?province=ON&advisor=iona.marsh@fernhollow.example", True),
        ("?province=QC", False),
        ("?page=99", True),
        ("?page=-1&q=%00", True),
        ("?page=" + "9" * 400, True),
    ],
)
def test_filters(book, query, seen):
    answer = book.signed_in("advisor").get("/" + query)
    assert answer.status_code == 200
    assert (f">{'Heron Quay'}</a>" in answer.content.decode()) is seen


@pytest.mark.parametrize("month", ["2026-13", "2030-01", "x", "2026-9", "%00"])
def test_months_that_are_none(book, month):
    path = f"/households/{REF}/months/{month}/"
    assert book.signed_in("advisor").get(path).status_code == 404


def test_writing_methods_are_refused(book):
    client = book.signed_in("advisor")
    for path in PAGES.values():
        assert client.post(path).status_code == 405


# Session, user and membership are three of each; scopes and savepoints are not counted.
@pytest.mark.parametrize(
    ("page", "queries"), [("book", 6), ("household", 32), ("month", 31), ("runs", 5)]
)
def test_query_counts(book, page, queries):
    client = book.signed_in("advisor")
    client.get(PAGES[page])
    with CaptureQueriesContext(connection) as captured:
        client.get(PAGES[page])
    asked = [one["sql"] for one in captured if " FROM " in one["sql"]]
    assert len(asked) == queries, "\n".join(sql[:120] for sql in asked)


def test_query_count_of_the_book_does_not_grow(book):
    for number in range(3):
        more = sample.file()
        more["household"] |= {"ref": f"HH-08{number:02d}", "name": f"Curlew Bay {number}"}
        load(book.firm_id, more)
    client = book.signed_in("advisor")
    with CaptureQueriesContext(connection) as captured:
        text = client.get("/").content.decode()
    assert text.count("Curlew Bay") == 6, "its link and its box, each"
    assert len([one for one in captured if " FROM " in one["sql"]]) == 6


def test_a_household_not_closed_yet(book):
    fresh = sample.file()
    fresh["household"] |= {"ref": "HH-0801", "name": "Curlew Bay"}
    load(book.firm_id, fresh)
    client = book.signed_in("advisor")
    assert "Not closed yet" in client.get("/").content.decode()
    answer = client.get(reverse("household", args=["HH-0801"]))
    assert "No month is closed yet" in answer.content.decode()


def test_a_changed_fact_shows_until_it_is_closed_again(book):
    changed = sample.file(uses=[])
    load(book.firm_id, changed)
    client = book.signed_in("advisor")
    assert "to be closed again" in client.get("/").content.decode()
    assert "A late or corrected fact" in client.get(HOUSEHOLD).content.decode()
