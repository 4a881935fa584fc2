"""Every sample household, end to end: what is found is kept in one golden file.

After a change that is meant, write it anew with
`TOWPATH_REWRITE_GOLDEN=1 python -m pytest tests/ledger/core/test_samples.py`
and read the difference.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest

from ledger.core.close import Report, close
from ledger.core.evaluation import evaluate_text
from ledger.core.report import report_json
from planning.core.plan_types import ROW_KEYS

SAMPLES = sorted((Path(__file__).resolve().parents[2] / "samples").glob("*.json"))
GOLDEN = Path(__file__).with_name("samples_drift.txt")


def evaluated(path: Path) -> Report:
    """A sample's report."""
    return evaluate_text(path.read_text("utf-8"), path.name)


def lines_of(path: Path, report: Report) -> list[str]:
    """What was found in a sample and what it deducts, one line each."""
    shown: dict[str, Any] = report_json(report, with_comparison=False)
    found = [
        f"{path.stem}: {one['code']} {one['key']} {one['first']}..{one['last']}"
        f"{' open' if one['open'] else ''} {one['dollars']} ({one['cost_per_year']} a year)"
        f" {one['severity']}"
        for one in shown["drift"]
    ]
    years = [
        f"{path.stem}: {year} deducts {one['deductible']} of {one['posted']} posted,"
        f" saves {one['tax_saving']}"
        for year, one in shown["deductions"].items()
    ]
    return found + years


def test_what_is_found_in_the_samples() -> None:
    assert len(SAMPLES) >= 8
    text = "\n".join(line for path in SAMPLES for line in lines_of(path, evaluated(path))) + "\n"
    if os.environ.get("TOWPATH_REWRITE_GOLDEN"):
        GOLDEN.write_text(text, "utf-8")
    assert text == GOLDEN.read_text("utf-8")


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_columns_add_up_and_classes_tie_to_the_statements(path: Path) -> None:
    report = evaluated(path)
    shown = json.loads(json.dumps(report_json(report, with_comparison=False)))
    for ref, line in shown["lines"].items():
        for name in ("eligible", "unsupported", "ineligible"):
            assert sum(_cents(one[name]) for one in line["entries"]) == _cents(line[name]), ref
        assert _cents(line["balance"]) == sum(
            _cents(line[name]) for name in ("eligible", "unsupported", "ineligible")
        )
        principal = _cents(line["eligible"]) - _cents(line["unpaid_interest"]["eligible"])
        assert sum(_cents(one) for one in line["targets"].values()) == principal
    posted = deducted = 0
    for year in shown["deductions"].values():
        posted, deducted = posted + _cents(year["posted"]), deducted + _cents(year["deductible"])
        assert deducted <= posted
    if '"on"' not in path.read_text("utf-8").split('"plan"')[0]:
        # A paper that comes late restates earlier months; without one they add up.
        assert sum(one.actual.deductible for one in report.closes) == deducted
    for one in report.closes:
        if one.plan is not None:
            for key in ROW_KEYS:
                assert one.variance[key] == getattr(one.actual, key) - getattr(one.plan, key)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_a_lone_close_equals_the_evaluation(path: Path) -> None:
    report = evaluated(path)
    for one in report.closes[-2:]:
        assert close(report.household, one.month) == one


def _cents(text: str) -> int:
    sign = -1 if text.startswith("-") else 1
    whole, part = text.lstrip("-").split(".")
    return sign * (int(whole) * 100 + int(part))
