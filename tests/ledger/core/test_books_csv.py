"""The tables add up to the report, and no cell is a formula."""

from __future__ import annotations

import csv
from collections import defaultdict
from dataclasses import replace
from io import StringIO
from pathlib import Path

import pytest

from ledger.core.books_csv import books_csv, safe_cell
from ledger.core.close import evaluate
from ledger.core.report import report_json
from planning.core.household_file import read_household
from planning.core.money import cents_from_text
from planning.core.types import CLASSES, Evidence, Household

SAMPLES = sorted((Path(__file__).resolve().parents[2] / "samples").glob("*.json"))
WITH_STATEMENTS = [one for one in SAMPLES if one.stem != "plan-only"]


def sample(path: Path) -> Household:
    """A sample household."""
    return read_household(path.read_text("utf-8"), path.name)


def tables_of(found: Household) -> dict[str, list[dict[str, str]]]:
    """The household's tables, read back."""
    report = evaluate(found)
    assert report.trace is not None
    written = books_csv(found, report.trace, report.deductions)
    return {name: list(csv.DictReader(StringIO(text))) for name, text in written.items()}


@pytest.mark.parametrize("path", WITH_STATEMENTS, ids=lambda path: path.stem)
def test_the_tables_add_up_to_the_report(path: Path) -> None:
    found = sample(path)
    report = report_json(evaluate(found), with_comparison=False)
    tables = tables_of(found)
    sums: dict[tuple[str, str], int] = defaultdict(int)
    for row in tables["entries"]:
        if row["type"] == "line":
            for name in CLASSES:
                sums[row["account"], name] += cents_from_text(row[name])
    accounts = {row["account"]: row for row in tables["accounts"]}
    for ref, line in report["lines"].items():
        for name in CLASSES:
            assert sums[ref, name] == cents_from_text(line[name])
            assert accounts[ref][name] == line[name]
    for row in tables["deductions"]:
        for name, amount in report["deductions"][row["year"]].items():
            assert row[name] == amount
    assert len(tables["deductions"]) == len(report["deductions"])
    drawn = {row["id"]: row for row in tables["entries"] if row["kind"] == "draw"}
    used: dict[str, int] = defaultdict(int)
    for row in tables["uses"]:
        used[row["draw"]] += cents_from_text(row["amount"])
    for ref, row in drawn.items():
        # Own credit that a draw used up first is in no class.
        assert used[ref] == sum(cents_from_text(row[name]) for name in CLASSES)


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("=1+1", "'=1+1"), ("+1", "'+1"), ("-cmd", "'-cmd"), ("@SUM(A1)", "'@SUM(A1)"),
        ("\t=1", "'\t=1"), ("-12.30", "-12.30"), ("line-1", "line-1"), ("", ""),
    ],
)  # fmt: skip
def test_no_cell_is_a_formula(text: str, cell: str) -> None:
    assert safe_cell(text) == cell


def test_a_paper_named_like_a_formula_is_written_as_text() -> None:
    found = sample(next(one for one in SAMPLES if one.stem == "steady"))
    first = found.uses[0]
    paper = (Evidence('=HYPERLINK("x")', None),)
    split = replace(first.splits[0], evidence=paper)
    found = replace(found, uses=(replace(first, splits=(split,)), *found.uses[1:]))
    (row,) = [row for row in tables_of(found)["uses"] if row["draw"] == first.draw]
    assert row["evidence"] == '\'=HYPERLINK("x")'
