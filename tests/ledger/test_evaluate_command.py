"""The `evaluate` command: a file in, a report out, no database in between."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

SAMPLE = Path(__file__).resolve().parents[1] / "samples" / "missed-months.json"


def run(*words: str, text: str | None = None) -> tuple[int, str, str]:
    """Exit code, standard output, standard error."""
    out, err = io.StringIO(), io.StringIO()
    before = sys.stdin
    if text is not None:
        sys.stdin = io.TextIOWrapper(io.BytesIO(text.encode()), encoding="utf-8")
    try:
        call_command("evaluate", *words, stdout=out, stderr=err)
        code = 0
    except SystemExit as stop:
        code = int(stop.code or 0)
    finally:
        sys.stdin = before
    return code, out.getvalue(), err.getvalue()


def test_a_file_gives_its_report() -> None:
    code, out, err = run(str(SAMPLE))
    shown: dict[str, Any] = json.loads(out)
    assert (code, err) == (0, "")
    assert shown["format"] == "towpath/report"
    assert shown["through"] == "2025-09"
    assert {one["code"] for one in shown["drift"]} == {
        "missed-reborrow",
        "late-reborrow",
        "tax-benefit-dominates",
    }


def test_standard_input_and_through() -> None:
    code, out, _ = run("-", "--through", "2025-06", "--json", text=SAMPLE.read_text("utf-8"))
    shown = json.loads(out)
    assert code == 0
    assert len(shown["months"]) == 6
    (finding,) = (one for one in shown["drift"] if one["code"] == "missed-reborrow")
    assert (finding["first"], finding["last"], finding["open"]) == ("2025-04", "2025-06", True)


@pytest.mark.parametrize(
    ("change", "places"),
    [
        ({"surprise": 1}, ["surprise"]),
        ({"plan": {"starts": "x"}, "prime": "y"}, ["plan", "prime"]),
    ],
)
def test_bad_input_names_every_problem_and_exits_with_two(
    change: dict[str, Any], places: list[str]
) -> None:
    data = json.loads(SAMPLE.read_text("utf-8")) | change
    code, out, err = run("-", "--json", text=json.dumps(data))
    problems = json.loads(out)
    assert code == 2
    assert len(err.strip().splitlines()) == len(problems)
    for one in problems:
        assert set(one) == {"file", "where", "message", "remedy"}
        assert one["file"] == "-"
    for place in places:
        assert any(one["where"].startswith(place) for one in problems)


def test_without_json_problems_stay_on_standard_error() -> None:
    code, out, err = run(str(SAMPLE), "--through", "2025-13")
    assert (code, out) == (2, "")
    assert "--through" in err


@pytest.mark.parametrize("name", ["no-such-file.json", "."])
def test_a_file_that_cannot_be_read_is_a_problem_too(name: str) -> None:
    code, _, err = run(name)
    assert code == 2
    assert "cannot be read" in err


def test_text_that_is_not_utf_8(tmp_path: Path) -> None:
    path = tmp_path / "latin.json"
    path.write_bytes(b'{"name": "\xe9"}')
    code, _, err = run(str(path))
    assert code == 2
    assert "UTF-8" in err


def test_history_and_chance_come_on_request_only() -> None:
    document = json.loads(SAMPLE.with_name("plan-only.json").read_text("utf-8"))
    document["plan"] |= {"months": 12, "extras": []}
    text = json.dumps(document)
    code, out, _ = run("-", text=text)
    assert code == 0
    assert {"history", "chance"}.isdisjoint(json.loads(out)["comparison"])
    code, out, _ = run("-", "--history", text=text)
    shown = json.loads(out)["comparison"]
    assert code == 0
    # From February 1956 to January 2022, the last start that twelve months follow.
    assert shown["history"]["summary"]["starts"] == str(len(shown["history"]["starts"])) == "792"
    assert shown["history"]["starts"][-1]["start"] == "2022-01"
    assert (shown["chance"]["kind"], shown["chance"]["paths"]) == ("projection", "10000")


def test_thresholds_from_a_file(tmp_path: Path) -> None:
    file = tmp_path / "thresholds.json"
    file.write_text('{"missed_reborrow": "100000.00"}', "utf-8")
    code, out, _ = run(str(SAMPLE), "--thresholds", str(file))
    assert code == 0
    assert "missed-reborrow" not in {one["code"] for one in json.loads(out)["drift"]}
    file.write_text('{"missed_reborrow": 5, "idle_days": "5", "nonsense": 1}', "utf-8")
    code, out, err = run(str(SAMPLE), "--thresholds", str(file))
    assert (code, out) == (2, "")
    for place in ("missed_reborrow", "idle_days", "nonsense"):
        assert place in err
