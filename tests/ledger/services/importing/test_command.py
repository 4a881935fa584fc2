"""`import_statements` from the outside: what it prints, what it leaves, how it exits."""

from __future__ import annotations

import io
import json
import subprocess

import pytest
from django.core.management import call_command

from config.faults import EXIT_CODE
from ledger.models import Statement
from ledger.services.importing import asking
from tests.ledger.services.closing import book
from tests.ledger.services.importing.test_importing import (
    LINE,
    access,
    stored,
    written,
)

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])

__all__ = ["access"]
KEYS = [
    "file",
    "format",
    "account",
    "currency",
    "kind",
    "entries",
    "opening",
    "closing",
    "imported",
    "already_here",
    "problems",
]


def run(*arguments: str) -> tuple[int, str, str]:
    """Exit code, what was printed, what was complained of."""
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command("import_statements", *arguments, stdout=out, stderr=err)
    except SystemExit as stop:
        return int(stop.code or 0), out.getvalue(), err.getvalue()
    return 0, out.getvalue(), err.getvalue()


@pytest.fixture
def folder(tmp_path):
    for place, one in enumerate(LINE[1:4]):
        name, data = written(one, place)
        (tmp_path / name).write_bytes(data)
    return tmp_path


def test_a_folder_is_booked_and_found_booked_the_second_time(access, folder):
    code, out, _ = run(str(folder), "--household", "HH-0301", "--json")
    answers = [json.loads(line) for line in out.splitlines()]
    assert code == 0
    assert [list(one) for one in answers] == [KEYS] * 3
    assert [one["imported"] for one in answers] == [len(one.entries) for one in LINE[1:4]]
    assert {one["account"] for one in answers} == {"line"}
    assert len(stored(access)) == 3
    code, out, _ = run(str(folder), "--json")  # by number now, without the household
    again = [json.loads(line) for line in out.splitlines()]
    assert code == 0
    assert [one["imported"] for one in again] == [0, 0, 0]
    assert [one["already_here"] for one in again] == [len(one.entries) for one in LINE[1:4]]


def test_bad_input_exits_two_and_books_nothing(access, folder):
    (folder / "bad.csv").write_text("Date,Amount\n2025-02-01,1e9\n")
    code, out, _ = run(str(folder), "--household", "HH-0301", "--json")
    answers = [json.loads(line) for line in out.splitlines()]
    assert code == 2
    assert [len(one["problems"]) for one in answers] == [1, 0, 0, 0]
    assert {one["imported"] for one in answers} == {0}
    assert stored(access) == ()
    code, _, err = run(str(folder), "--household", "HH-0301")
    assert code == 2
    assert "bad.csv: line 2, amount: '1e9' is not an amount" in err


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (["--household", "HH-9"], "there is no household 'HH-9'"),
        (["--household", "HH-0301", "--account", "x"], "the household has no account x"),
        (["--household", "HH-0301", "--firm", "Nobody"], "there is no firm 'Nobody'"),
        (["--account", "line"], "an account needs its household"),
        (["--map", "when=1"], "'when=1' is not COLUMN=NAME"),
        (["--period", "today"], "'today' is not a period"),
    ],
)
def test_wrong_arguments_are_named(access, folder, arguments, expected):
    code, _, err = run(str(folder), *arguments)
    assert code == 2
    assert expected in err


def test_a_dry_run_without_a_household_needs_no_database(folder, monkeypatch):
    def refuse(**_):
        raise AssertionError("the database was asked")

    monkeypatch.setattr(asking, "import_for_firm", refuse)
    code, out, _ = run(str(folder), "--dry-run", "--json")
    assert code == 0
    assert [json.loads(line)["account"] for line in out.splitlines()] == ["0002"] * 3


def test_a_dry_run_with_a_household_rolls_back(access, folder):
    code, out, _ = run(str(folder), "--dry-run", "--household", "HH-0301")
    assert code == 0
    assert "adds line 2025-02-01 to 2025-02-28" in out
    with access.opened():
        assert not Statement.objects.exists()


def test_a_folder_without_statements_and_a_file_that_is_not_there(tmp_path):
    code, _, err = run(str(tmp_path), str(tmp_path / "gone.ofx"), "--dry-run")
    assert code == 2
    assert "the folder holds no statement file" in err
    assert "there is no such file" in err


def test_a_dry_run_with_the_database_away_still_reads(folder):
    words = book.manage("import_statements", str(folder), "--household", "HH-0301", "--json")
    away = {"TOWPATH_APP_DATABASE_URL": "postgres://towpath_app@127.0.0.1:1/none"}
    for extra, code in ((["--dry-run"], 0), ([], 2)):
        done = subprocess.run(
            [*words, *extra],
            env=book.environment(**away),
            capture_output=True,
            check=False,
            timeout=120,
        )
        answers = [json.loads(line) for line in done.stdout.splitlines()]
        assert done.returncode == code
        assert len(answers) == (3 if extra else 1)
        assert bool(answers[0]["problems"]) == bool(code)


def test_an_import_killed_before_its_commit_leaves_nothing_and_runs_again(access, folder):
    words = book.manage("import_statements", str(folder), "--household", "HH-0301", "--json")
    killed = subprocess.run(
        words,
        env=book.environment(TOWPATH_FAULT="import.booked:1"),
        capture_output=True,
        check=False,
        timeout=120,
    )
    assert killed.returncode == EXIT_CODE
    assert stored(access) == ()
    again = subprocess.run(
        words, env=book.environment(), capture_output=True, check=True, timeout=120
    )
    answers = [json.loads(line) for line in again.stdout.splitlines()]
    assert [one["imported"] for one in answers] == [len(one.entries) for one in LINE[1:4]]
    assert len(stored(access)) == 3


def test_the_same_file_under_two_names_in_one_run_is_refused(access, folder):
    files = sorted(folder.iterdir())
    twin = folder / "copy.ofx"
    twin.write_bytes(files[0].read_bytes())
    code, out, err = run(str(files[0]), str(twin), "--household", "HH-0301", "--json")
    assert code == 2
    assert "the same file as" in err + out
    assert all(json.loads(line)["imported"] == 0 for line in out.splitlines())
    # Nothing was booked, so the file alone is new; again it is simply here already.
    for expected in (False, True):
        code, out, _ = run(str(files[0]), "--household", "HH-0301", "--json")
        assert code == 0
        assert (json.loads(out)["imported"] == 0) is expected
