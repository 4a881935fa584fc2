"""Statement files and books handed in on the desk: by role, looked at first, written once."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from ledger.models import Statement
from planning.core.book_rows import template
from planning.models import Household
from tests.ledger.test_import_book import ROW, table
from tests.reports.conftest import ADVISOR, Book
from tests.reports.sample import REF
from tests.reports.test_setup import book  # noqa: F401 - the same desk, nothing closed
from tests.statements import october

STATEMENTS, BOOK = reverse("import_statements"), reverse("import_book")


def sent(name: str, data: bytes) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data, content_type="text/csv")


def mark(answer) -> str:
    return answer.content.decode().split('name="mark" value="')[1].split('"')[0]


def statements(desk: Book) -> int:
    with desk.access().opened():
        return Statement.objects.count()


def post(client: Client, *files: tuple[str, bytes], **more: str):
    return client.post(STATEMENTS, {"files": [sent(*one) for one in files], **more})


@pytest.mark.parametrize("role", ["advisor", "assistant"])
def test_statements_are_booked_only_as_they_were_looked_at(book, role):  # noqa: F811
    client, before = book.signed_in(role), statements(book)
    file = ("october.csv", october())
    seen = post(client, file, household=REF)
    assert seen.status_code == 200
    assert "nothing is booked yet" in seen.content.decode()
    assert statements(book) == before
    other = post(client, ("october.csv", october(600)), household=REF, save="1", mark=mark(seen))
    assert "not the files that were looked at" in other.content.decode()
    assert statements(book) == before
    done = post(client, file, household=REF, save="1", mark=mark(seen))
    text = done.content.decode()
    assert "The statements are booked." in text
    assert reverse("household", args=[REF]) in text
    assert statements(book) == before + 1
    again = post(client, file, household=REF, save="1", mark=mark(seen))
    assert again.status_code == 200
    assert statements(book) == before + 1


def test_every_problem_of_every_file_is_shown_and_none_is_booked(book):  # noqa: F811
    client, before = book.signed_in("advisor"), statements(book)
    files = (("good.csv", october()), ("bad.csv", b"this is no statement"), ("empty.csv", b""))
    answer = post(client, *files, household=REF, save="1", mark="x")
    text = answer.content.decode()
    assert answer.status_code == 422
    assert text.count('class="errorlist"') == 2
    assert statements(book) == before
    assert client.post(STATEMENTS, {"household": REF}).status_code == 422


def test_who_may_not(book):  # noqa: F811
    for role in ("client", "nobody"):
        client = book.signed_in(role)
        assert client.get(STATEMENTS).status_code == 403
        assert client.get(BOOK).status_code == 403
    assert book.signed_in("assistant").get(BOOK).status_code == 403
    stranger, before = book.signed_in("stranger"), statements(book)
    assert "Heron Quay" not in stranger.get(STATEMENTS).content.decode()
    assert post(stranger, ("a.csv", october()), household=REF).status_code == 404
    assert statements(book) == before
    assert Client().get(STATEMENTS).status_code == 302


def test_a_book_is_loaded_only_as_it_was_looked_at(book):  # noqa: F811
    client = book.signed_in("advisor")
    data = table(ROW | {"advisor": ADVISOR})
    seen = client.post(BOOK, {"file": sent("book.csv", data)})
    assert "nothing is loaded yet" in seen.content.decode()
    refused = client.post(BOOK, {"file": sent("book.csv", data), "save": "1", "mark": "x"})
    assert "not the file that was looked at" in refused.content.decode()
    with book.access().opened():
        assert not Household.objects.filter(ref="HH-900").exists()
    done = client.post(BOOK, {"file": sent("book.csv", data), "save": "1", "mark": mark(seen)})
    assert "The households are loaded." in done.content.decode()
    with book.access().opened():
        assert Household.objects.get(ref="HH-900").name == "Sable Weir"
    bad = client.post(BOOK, {"file": sent("book.csv", table(ROW | {"growth": "much"}))})
    assert bad.status_code == 422
    assert "row 2, growth" in bad.content.decode()
    assert client.get(reverse("book_template")).content.decode() == template()
