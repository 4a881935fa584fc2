"""The security ledger names evidence that exists, or says why there is none."""

from __future__ import annotations

import ast
import csv
import re
from functools import cache

import pytest
from django.conf import settings

from tests.house import sources

LEDGER = sources.ROOT / "docs" / "asvs.csv"
NUMBER = re.compile(r"\d{1,2}\.\d{1,2}\.\d{1,2}")


def rows() -> list[dict[str, str]]:
    """The rows behind the remark in the first line."""
    with LEDGER.open(encoding="utf-8", newline="") as file:
        remark = next(file)
        assert "from memory" in remark
        return list(csv.DictReader(file))


ROWS = rows()


@cache
def names_in(path: str) -> frozenset[str]:
    """The names of a file's tests."""
    tree = ast.parse((sources.ROOT / path).read_text("utf-8"))
    return frozenset(one.name for one in ast.walk(tree) if isinstance(one, ast.FunctionDef))


def exists(evidence: str) -> bool:
    """Whether a test id, `setting:NAME` or `file#words` is there."""
    if evidence.startswith("setting:"):
        return hasattr(settings, evidence[8:])
    path, _, name = evidence.partition("::")
    path, _, words = path.partition("#")
    if not (sources.ROOT / path).is_file():
        return False
    if name:
        return name in names_in(path)
    return words in " ".join((sources.ROOT / path).read_text("utf-8").split())


@pytest.mark.parametrize("row", ROWS, ids=[row["number"] for row in ROWS])
def test_a_requirement_has_evidence_or_a_reason(row: dict[str, str]):
    assert NUMBER.fullmatch(row["number"])
    assert row["requirement"]
    assert row["applies"] in ("yes", "no", "partly")
    assert None not in row, "a comma without quotes"
    evidence = [one.strip() for one in row["evidence"].split(";") if one.strip()]
    assert [one for one in evidence if not exists(one)] == []
    assert evidence if row["applies"] == "yes" else row["reason"] or evidence


def test_no_requirement_stands_twice():
    numbers = [row["number"] for row in ROWS]
    assert len(numbers) == len(set(numbers)) > 70


@pytest.mark.parametrize(
    "evidence",
    [
        "setting:NO_SUCH_SETTING",
        "tests/house/test_asvs.py::test_no_such_test",
        "tests/house/no_such_file.py",
        "docs/security.md#no such words are in it",
    ],
)
def test_evidence_that_is_not_there_is_noticed(evidence: str):
    assert not exists(evidence)
