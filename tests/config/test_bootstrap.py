"""The command line of the bootstrap, and what it will not do twice."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import manage
from config import bootstrap, machine
from tests.house.sources import ROOT


def test_it_starts_on_a_python_that_has_nothing_installed():
    code = (
        "import runpy, sys; sys.argv = ['bootstrap.py', '--help'];"
        "runpy.run_path('config/bootstrap.py', run_name='__main__')"
    )
    done = subprocess.run(
        [sys.executable, "-I", "-S", "-c", code],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "demo" in done.stdout


def test_arguments_after_test_go_to_the_test_runner():
    assert bootstrap.parse(["test", "-k", "drift", "-x"]).arguments == ["-k", "drift", "-x"]


def test_an_unknown_word_is_refused():
    with pytest.raises(SystemExit) as ended:
        bootstrap.parse(["demo", "--prot", "80"])
    assert ended.value.code == 2


def test_the_port_is_the_persons_choice():
    assert bootstrap.parse(["demo", "--port", "9001"]).port == 9001
    assert bootstrap.parse(["demo"]).port == 8000


def test_installed_requirements_are_recognised(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(machine, "VENV", tmp_path)
    assert not machine.is_installed("runtime")
    machine.stamp_file("runtime").write_text(machine.stamp_of("runtime"), "ascii")
    assert machine.is_installed("runtime")
    machine.stamp_file("runtime").write_text("another", "ascii")
    assert not machine.is_installed("runtime")


def test_without_the_right_to_install_the_exact_line_is_said(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(machine, "is_root", lambda: False)
    with pytest.raises(machine.CannotGoOn, match=r"apt-get install .* libpango"):
        machine.install_packages(("libpango-1.0-0",))


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (["migrate"], True),
        (["demo"], True),
        (["check", "--database", "owner"], True),
        (["check"], False),
        (["evaluate", "a.json"], False),
        (["tax", "--province", "ON"], False),
        (["migrate", "--help"], False),
        ([], False),
    ],
)
def test_only_commands_that_need_the_book_wake_the_database(words: list[str], *, wanted: bool):
    assert manage.wants_database(["manage.py", *words]) is wanted


def sleeper(home: Path, note: Path) -> subprocess.Popen[bytes]:
    """A living process that works in `home`, noted in a file, its number on the first line."""
    home.mkdir(parents=True, exist_ok=True)
    process = subprocess.Popen(
        [sys.executable, "-c", "import time; time.sleep(600)"], cwd=home, stderr=subprocess.DEVNULL
    )
    note.write_text(f"{process.pid}\nmore\n", "ascii")
    return process


@pytest.fixture
def services(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[dict[str, object]]:
    """A data folder whose database and broker run, and no environment installed."""
    data = tmp_path / "data"
    monkeypatch.setenv("TOWPATH_DATA", str(data))
    monkeypatch.setattr(machine, "VENV", tmp_path / "no-environment")
    database = sleeper(data / "postgres", data / "postgres" / "postmaster.pid")
    broker = sleeper(data / "broker", data / "broker" / "pid")
    yield {"database": database, "broker": broker}
    for one in (database, broker):
        one.kill()
        one.wait()


def test_services_are_seen_and_stopped_where_nothing_is_installed_any_more(
    services: dict[str, subprocess.Popen[bytes]], capsys: pytest.CaptureFixture[str]
):
    assert bootstrap.main(["status"]) == 0
    assert f"process {services['database'].pid}" in capsys.readouterr().out
    assert bootstrap.main(["down"]) == 0
    assert "database stopped" in capsys.readouterr().out
    assert [one.wait(10) != 0 for one in services.values()] == [True, True]
    assert bootstrap.main(["status"]) == 1
    assert bootstrap.main(["down"]) == 0
    assert "Nothing is installed" in capsys.readouterr().out


def test_a_process_that_only_bears_the_number_is_left_alone(
    services: dict[str, subprocess.Popen[bytes]], tmp_path: Path
):
    elsewhere = sleeper(tmp_path / "elsewhere", tmp_path / "data" / "broker" / "pid")
    try:
        assert bootstrap.main(["status"]) == 1
        assert bootstrap.main(["down"]) == 0
        assert elsewhere.poll() is None
        assert services["database"].wait(10) != 0
    finally:
        elsewhere.kill()
        elsewhere.wait()


@pytest.mark.parametrize("command", ["down", "status"])
def test_requirements_of_yesterday_do_not_hide_what_runs(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(machine, "VENV", tmp_path)
    machine.stamp_file("runtime").write_text("of yesterday", "ascii")
    went_on = []
    monkeypatch.setattr(bootstrap, "continue_in_venv", lambda: went_on.append(command))
    monkeypatch.setitem(bootstrap.COMMANDS, command, (lambda _: 7, ""))
    assert bootstrap.main([command]) == 7
    assert went_on == [command]
