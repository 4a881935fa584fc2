"""The command line of the bootstrap, and what it will not do twice."""

from __future__ import annotations

import subprocess
import sys
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
