"""The commands around the book, end to end."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from planning.core.household_file import household_from_json, household_to_json
from planning.selectors.firms import firms
from tests.cast import SAMPLES, household_file

FILES = sorted(SAMPLES.glob("*.json"))
pytestmark = pytest.mark.django_db


def run(name: str, *words: str) -> tuple[int, str, str]:
    """(exit code, standard output, standard error) of a command."""
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command(name, *words, stdout=out, stderr=err)
    except SystemExit as ended:
        return int(ended.code or 0), out.getvalue(), err.getvalue()
    return 0, out.getvalue(), err.getvalue()


def put(folder: Path, content: bytes, name: str = "household.json") -> str:
    (folder / name).write_bytes(content)
    return str(folder / name)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_book_tells_the_same_report_as_the_file(path: Path, tmp_path: Path):
    ref = json.loads(path.read_text("utf-8"))["household"]["ref"]
    assert run("load_household", str(path), "--create-firm", "Lockkeepers")[0] == 0
    dump = tmp_path / "dump.json"
    assert run("dump_household", ref, "--out", str(dump))[0] == 0
    code, shown, _ = run("show_household", ref, "--json")
    evaluated = run("evaluate", str(dump))
    assert (code, evaluated[0]) == (0, 0)
    assert json.loads(shown) == json.loads(evaluated[1])
    assert json.loads(shown) == json.loads(run("evaluate", str(path))[1])


def test_a_dump_is_the_household_file():
    run("load_household", str(FILES[0]), "--create-firm", "Lockkeepers")
    data = json.loads(FILES[0].read_text("utf-8"))
    code, text, _ = run("dump_household", data["household"]["ref"])
    assert code == 0
    assert json.loads(text) == household_to_json(household_from_json(data, "x"))


def test_loading_says_what_it_did_and_then_that_nothing_changed():
    words = (str(FILES[0]), "--create-firm", "Lockkeepers", "--json")
    first = json.loads(run("load_household", *words)[1])
    again = json.loads(run("load_household", *words)[1])
    assert (first["created"], first["changed"]) == (True, True)
    assert (again["created"], again["changed"], again["changes"]) == (False, False, [])
    assert len(firms()) == 1
    assert "nothing changed" in run("load_household", str(FILES[0]))[1]


def test_show_household_reads_well_without_json():
    run("load_household", str(SAMPLES / "steady.json"), "--create-firm", "Lockkeepers")
    ref = json.loads((SAMPLES / "steady.json").read_text("utf-8"))["household"]["ref"]
    code, text, _ = run("show_household", ref)
    assert code == 0
    assert "balance" in text
    assert "interest deductible" in text


def test_through_stops_the_report_earlier():
    run("load_household", str(SAMPLES / "steady.json"), "--create-firm", "Lockkeepers")
    data = json.loads((SAMPLES / "steady.json").read_text("utf-8"))
    month = min(one["ends"] for one in data["statements"])[:7]
    code, text, _ = run("show_household", data["household"]["ref"], "--json", "--through", month)
    assert code == 0
    assert [one["month"] for one in json.loads(text)["months"]][-1] == month
    bad = run("show_household", data["household"]["ref"], "--through", "2025-13")
    assert (bad[0], "2025-13" in bad[2]) == (2, True)


@pytest.mark.parametrize(
    ("command", "words"),
    [
        ("dump_household", ("HH-NONE",)),
        ("show_household", ("HH-NONE",)),
        ("check_ledger", ("--household", "HH-NONE")),
    ],
)
def test_an_unknown_household_ends_with_two(command: str, words: tuple[str, ...]):
    run("load_household", str(FILES[0]), "--create-firm", "Lockkeepers")
    code, _, said = run(command, *words)
    assert code == 2
    assert "HH-NONE" in said


def test_before_there_is_a_firm_the_home_firm_is_started_and_named():
    code, out, _ = run("load_household", str(FILES[0]))
    assert code == 0
    assert "(Our firm)" in out
    assert run("load_household", str(FILES[1]))[0] == 0


def test_a_household_goes_to_the_firm_that_has_it_else_to_the_home_firm(tmp_path: Path):
    run("load_household", str(FILES[0]), "--create-firm", "Lockkeepers")
    theirs = put(tmp_path, household_file("HH-7", None))
    run("load_household", theirs, "--create-firm", "Bargees")
    assert "(Bargees)" in run("load_household", theirs)[1]
    ours = put(tmp_path, household_file("HH-8", None), "new.json")
    assert "(Lockkeepers)" in run("load_household", ours)[1]


def test_a_reference_known_to_several_firms_needs_the_firm_named(tmp_path: Path):
    file = put(tmp_path, household_file("HH-1", None))
    run("load_household", file, "--create-firm", "Lockkeepers")
    run("load_household", file, "--create-firm", "Bargees")
    code, _, said = run("load_household", file)
    assert (code, "Bargees" in said, "Lockkeepers" in said) == (2, True, True)
    assert run("load_household", file, "--firm", "Bargees")[0] == 0
    assert run("dump_household", "HH-1", "--firm", "Nobody")[0] == 2


def test_bad_input_lists_everything_and_writes_nothing(tmp_path: Path):
    data: dict[str, Any] = json.loads(household_file("HH-1", None))
    data["facility"]["line_cap"] = "lots"
    data["mortgages"][0]["amortization_months"] = 0
    bad = put(tmp_path, json.dumps(data).encode())
    good = put(tmp_path, household_file("HH-2", None), "good.json")
    code, out, said = run(
        "load_household", good, bad, "missing.json", "--create-firm", "Lockkeepers", "--json"
    )
    assert code == 2
    assert "missing.json" in said
    code, out, said = run("load_household", good, bad, "--create-firm", "Lockkeepers", "--json")
    assert code == 2
    assert {one["where"] for one in json.loads(out)} == {
        "facility.line_cap",
        "mortgages[0].amortization_months",
    }
    assert firms() == ()


def test_a_dump_that_cannot_be_written_says_so(tmp_path: Path):
    run("load_household", put(tmp_path, household_file("HH-1", None)), "--create-firm", "Lock")
    code, _, said = run("dump_household", "HH-1", "--out", str(tmp_path / "no" / "folder.json"))
    assert code == 2
    assert "cannot be written" in said
