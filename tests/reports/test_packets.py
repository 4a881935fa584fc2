"""Issuing packets: the same for the same inputs, the next version for others, kept for good."""

from __future__ import annotations

import hashlib
import json
import threading
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction
from django.urls import reverse

from config.database import firm_scope
from config.models import AuditEvent
from ledger.services.closing import asking
from planning.access import NotVisibleError
from reports import rendering
from reports.models import Packet
from reports.packets.period import Quarter
from reports.services import packets
from reports.services.packets import (
    NotClosedError,
    QuarterlyRequest,
    draw_packet,
    issue_quarterly,
)
from tests.reports import sample
from tests.reports.conftest import CANARY_REF, load

THIRD = QuarterlyRequest(sample.REF, Quarter(2026, 3))


def issue(book, request=THIRD):
    """Issue and draw in the first firm."""
    access = book.access()
    with access.opened():
        packet = issue_quarterly(access=access, request=request)
        return draw_packet(access=access, packet_id=packet.pk)


def close_again(book):
    """Close the quarter again for the first firm."""
    works = asking.plan_work(
        month="2026-09", first="2026-07", firm=str(book.firm_id), household=None
    )
    for work in works:
        asking.close_here(work)


def test_issued_stored_and_in_the_trail(book):
    packet = issue(book)
    assert packet.state == "stored"
    assert bytes(packet.pdf).startswith(b"%PDF")
    assert packet.pdf_sha256 == hashlib.sha256(bytes(packet.pdf)).hexdigest()
    assert packet.toolchain["weasyprint"]
    with firm_scope(book.firm_id):
        actions = list(
            AuditEvent.objects.filter(object_type="packet")
            .order_by("number")
            .values_list("action", flat=True)
        )
    assert actions == ["packet.issued", "packet.stored"]


def test_asked_twice_is_one_packet(book):
    first, second = issue(book), issue(book)
    assert first.pk == second.pk
    with firm_scope(book.firm_id):
        assert Packet.objects.count() == 1


def test_drawn_again_from_storage_gives_the_stored_bytes(book):
    packet = issue(book)
    with firm_scope(book.firm_id):
        snapshot = Packet.objects.get(pk=packet.pk).snapshot
    assert rendering.render_packet(snapshot) == bytes(packet.pdf)


def test_corrected_facts_make_the_next_version(book):
    first = issue(book)
    load(book.firm_id, sample.file(uses=[]))
    with pytest.raises(NotClosedError) as caught:
        issue(book)
    assert caught.value.stale_months
    close_again(book)
    second = issue(book)
    assert (first.version, second.version) == (1, 2)
    assert first.input_digest != second.input_digest
    with firm_scope(book.firm_id):
        assert Packet.objects.get(pk=first.pk).pdf_sha256 == first.pdf_sha256


def test_languages_are_counted_apart(book):
    english = issue(book)
    french = issue(book, QuarterlyRequest(sample.REF, Quarter(2026, 3), "fr"))
    assert (english.language, french.language) == ("en", "fr")
    assert (english.version, french.version) == (1, 1)


def test_open_months_are_named(book):
    with pytest.raises(NotClosedError) as caught:
        issue(book, QuarterlyRequest(sample.REF, Quarter(2026, 4)))
    assert caught.value.open_months == ("2026-10", "2026-11", "2026-12")


def test_another_firms_household_is_not_there(book):
    with pytest.raises(NotVisibleError):
        issue(book, QuarterlyRequest(CANARY_REF, Quarter(2026, 3)))


@pytest.mark.parametrize(
    "change",
    [
        "snapshot = '{}'",
        "version = 9",
        "pdf_sha256 = 'x'",
        "pdf = NULL",
        "state = 'queued'",
    ],
)
def test_the_database_refuses_to_change_what_was_issued(book, change):
    packet = issue(book)
    with firm_scope(book.firm_id), pytest.raises(DatabaseError), transaction.atomic():
        connection.cursor().execute(
            f"UPDATE reports_packet SET {change} WHERE id = %s",  # noqa: S608 - from the list above
            [packet.pk],
        )


def test_the_application_may_not_remove_a_packet(book):
    packet = issue(book)
    with firm_scope(book.firm_id), pytest.raises(DatabaseError), transaction.atomic():
        Packet.objects.filter(pk=packet.pk).delete()


def test_what_cannot_be_drawn_is_parked_and_may_be_tried_again(book, monkeypatch):
    access = book.access()
    with access.opened():
        packet = issue_quarterly(access=access, request=THIRD)
    with monkeypatch.context() as patched:
        patched.setattr(rendering, "FONTS", ())
        with access.opened(), pytest.raises(rendering.ReferenceRefusedError):
            draw_packet(access=access, packet_id=packet.pk)
        with access.opened():
            parked = Packet.objects.get(pk=packet.pk)
            assert (parked.state, parked.pdf) == ("parked", None)
            assert "ReferenceRefusedError" in parked.error
    with access.opened():
        assert draw_packet(access=access, packet_id=packet.pk).state == "stored"


def test_download(book):
    packet = issue(book)
    path = reverse("packet", args=[sample.REF, packet.pk])
    for role in ("principal", "advisor", "assistant", "client"):
        answer = book.signed_in(role).get(path)
        assert answer.status_code == 200
        assert answer.content == bytes(packet.pdf)
        assert answer.headers["Content-Type"] == "application/pdf"
        assert (
            answer.headers["Content-Disposition"]
            == 'attachment; filename="quarterly-HH-0700-2026-Q3-en-v1.pdf"'
        )
        assert answer.headers["Cache-Control"] == "no-store"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
    for role, status in (("stranger", 404), ("nobody", 403)):
        assert book.signed_in(role).get(path).status_code == status
    listed = book.signed_in("advisor").get(reverse("household", args=[sample.REF]))
    assert path in listed.content.decode()


def test_file_names_hold_no_foreign_signs():
    from reports.models.packets import packet_file_name

    name = packet_file_name("quarterly", 'HH"/..\r\nÉ', "2026-Q3", "en", 1)
    assert name == "quarterly-HH--------2026-Q3-en-v1.pdf"


def run(*arguments):
    """Run the packet command: (exit code, standard output, error output)."""
    out, err = StringIO(), StringIO()
    try:
        call_command("packet", *arguments, stdout=out, stderr=err)
    except SystemExit as ended:
        return ended.code, out.getvalue(), err.getvalue()
    return 0, out.getvalue(), err.getvalue()


def test_command_writes_the_file_and_prints_its_digest(book, tmp_path):
    code, out, _ = run("quarterly", sample.REF, "2026-Q3", "--out", str(tmp_path / "new"))
    assert code == 0
    digest, path = out.split(maxsplit=1)
    written = tmp_path / "new" / "quarterly-HH-0700-2026-Q3-en-v1.pdf"
    assert path.strip() == str(written)
    assert hashlib.sha256(written.read_bytes()).hexdigest() == digest
    assert [one.name for one in written.parent.iterdir()] == [written.name]
    again = run("quarterly", sample.REF, "2026-Q3", "--out", str(tmp_path / "new"), "--json")
    told = json.loads(again[1])
    assert (told["sha256"], told["version"]) == (digest, 1)


def test_command_speaks_french(book, tmp_path):
    code, out, _ = run(
        "quarterly", sample.REF, "2026-Q3", "--out", str(tmp_path), "--language", "fr", "--json"
    )
    assert code == 0
    assert json.loads(out)["file"].endswith("-fr-v1.pdf")


def test_command_names_open_months(book, tmp_path):
    code, _, err = run("quarterly", sample.REF, "2026-Q4", "--out", str(tmp_path))
    assert code == 1
    for month in ("2026-10", "2026-11", "2026-12"):
        assert f"run close_month {month}" in err
    assert list(tmp_path.iterdir()) == []


def test_command_refuses_bad_input_with_every_fault(book, tmp_path):
    a_file = tmp_path / "file"
    a_file.write_text("x")
    code, out, err = run(
        "quarterly", "HH-0000", "2026-Q7", "--out", str(a_file), "--as-of", "soon", "--json"
    )
    assert code == 2
    for part in ("2026-Q7", "2026-Q3", "soon", "this is a file", "HH-0000", "load_household"):
        assert part in err, part
    assert len(json.loads(out)["problems"]) == 4
    assert run("quarterly", sample.REF, "2026-Q3", "--out", str(tmp_path), "--firm", "Nix")[0] == 2


def test_command_asks_which_firm_when_two_know_the_household(book, tmp_path):
    twin = sample.file()
    load(book.other_id, twin)
    code, _, err = run("quarterly", sample.REF, "2026-Q3", "--out", str(tmp_path))
    assert code == 2
    assert "Add --firm" in err
    named = ("--firm", "Fernhollow Advisory")
    assert run("quarterly", sample.REF, "2026-Q3", "--out", str(tmp_path), *named)[0] == 0


def test_nothing_half_written(tmp_path, monkeypatch):
    from config import files

    def fails(_handle):
        raise OSError("the disk is full")

    monkeypatch.setattr(files.os, "fsync", fails)
    with pytest.raises(OSError, match="full"):
        files.write_whole(tmp_path / "x.pdf", b"y")
    assert list(tmp_path.iterdir()) == []


# The owner empties the tables afterwards.
@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_two_workers_at_once_end_with_one_packet(committed_book, monkeypatch):
    """Both look before either writes; one is refused by the constraint and finds the other's."""
    both_looked = threading.Barrier(2, timeout=20)
    real = Packet.save

    def together(self, *args, **kwargs):
        both_looked.wait()
        return real(self, *args, **kwargs)

    def work(found):
        access = committed_book.access()
        with access.opened():
            found.append(issue_quarterly(access=access, request=THIRD).pk)
        connection.close()

    monkeypatch.setattr(packets.Packet, "save", together)
    found: list[object] = []
    workers = [threading.Thread(target=work, args=(found,)) for _ in range(2)]
    for one in workers:
        one.start()
    for one in workers:
        one.join(30)
    assert len(found) == 2
    assert found[0] == found[1]
    with firm_scope(committed_book.firm_id):
        assert Packet.objects.count() == 1
        assert AuditEvent.objects.filter(action="packet.issued").count() == 1
