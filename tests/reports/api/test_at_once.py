"""Two programs at once: one effect, one answer; pages that stay while rows come."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import threading
from typing import Any

import pytest
from django.db import connections, transaction
from django.test import Client

from config.database import firm_scope
from ledger.models import FindingEvent
from planning.models import Household, StoredAnswer
from planning.services.answers import InFlightError, take_key
from tests.house.sources import ROOT
from tests.reports.api.conftest import Program, program_of
from tests.reports.conftest import Book


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_two_requests_under_one_key_have_one_effect(committed_book: Book):
    program = program_of(committed_book.people["advisor"])
    finding = program.get("findings/?open=true").json()["items"][0]["id"]
    answers = []

    def ask() -> None:
        mine = Program(program.token, Client())
        body = {"act": "note", "text": "Only once"}
        answers.append(mine.post(f"findings/{finding}/acts/", body, key="one-key"))
        connections.close_all()

    threads = [threading.Thread(target=ask) for _ in range(2)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    codes = sorted(one.status_code for one in answers)
    assert codes in ([200, 200], [200, 409]), codes
    retried = program.post(
        f"findings/{finding}/acts/", {"act": "note", "text": "Only once"}, key="one-key"
    )
    assert retried["Idempotent-Replay"] == "true"
    with firm_scope(committed_book.firm_id):
        assert FindingEvent.objects.filter(finding_id=finding, kind="noted").count() == 1
        assert StoredAnswer.objects.filter(key="one-key").count() == 1
    # While another transaction holds the key, the answer is 409 and nothing is written.
    access = committed_book.access()
    held, done = threading.Event(), threading.Event()

    def hold() -> None:
        with access.opened(), transaction.atomic():
            assert take_key(access=access, key="held") is None
            held.set()
            done.wait(20)
        connections.close_all()

    holder = threading.Thread(target=hold)
    holder.start()
    assert held.wait(20)
    try:
        note = {"act": "note", "text": "In flight"}
        answer = program.post(f"findings/{finding}/acts/", note, key="held")
        assert (answer.status_code, answer["Retry-After"]) == (409, "1")
        with access.opened(), pytest.raises(InFlightError):
            take_key(access=access, key="held")
    finally:
        done.set()
        holder.join()
    assert program.post(f"findings/{finding}/acts/", note, key="held").status_code == 200


def test_pages_hold_every_row_once_while_rows_come(book: Book):
    program = program_of(book.people["principal"])

    def add(ref: str) -> None:
        with firm_scope(book.firm_id):
            Household.objects.create(firm_id=book.firm_id, ref=ref, name=ref, province="ON")

    for number in range(5):
        add(f"HH-2{number}")
    before = {one["ref"] for one in program.get("households/").json()["items"]}
    seen: list[str] = []
    cursor, inserted = "", 0
    while True:
        page = program.get(f"households/?limit=2{cursor}").json()
        seen += [one["ref"] for one in page["items"]]
        add(f"HH-0{inserted}")  # before everything read so far
        inserted += 1
        if page["next"] is None:
            break
        cursor = f"&cursor={page['next']}"
    assert len(seen) == len(set(seen))
    assert before <= set(seen)
    assert len(before) == 6
    assert inserted > 2


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_the_example_runs_as_printed(committed_book: Book, live_server: Any):
    text = (ROOT / "docs" / "how-to" / "use-the-api.md").read_text("utf-8")
    [code] = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    program = program_of(committed_book.people["advisor"], ("read:finding", "write:finding"))
    environment = os.environ | {"TOWPATH_SERVER": live_server.url, "TOWPATH_TOKEN": program.token}
    before = program.get("findings/?open=true&state=open").json()["items"]
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert before
    assert done.stdout.count(" seen\n") == len(before)
    assert program.get("findings/?open=true&state=open").json()["items"] == []
