"""The household file: strict reading, exact writing, every fault at once."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from config.problems import BadInput
from planning.core.household_file import household_from_json, household_to_json, read_household

ROOT = Path(__file__).resolve().parents[3]
SCHEMA = json.loads((ROOT / "docs/reference/household-file.schema.json").read_text("utf-8"))
SAMPLES = sorted((ROOT / "tests/samples").glob("*.json"))


def sample() -> dict[str, Any]:
    """A small household of invented people with one draw."""
    return {
        "format": "towpath/household",
        "version": 1,
        "household": {"ref": "HH-1", "name": "Alder", "province": "ON", "advisor": None},
        "members": [
            {"ref": "m1", "name": "Wren Alder", "province": "ON", "born": 1984,
             "income": {"2025": "128000.00"},
             "gains": [{"on": "2025-02-03", "amount": "10.00"}]},
        ],
        "suitability": {
            "assessments": [{"on": "2025-01-05", "net_worth": "-5.00", "knowledge": "low"}],
            "disclosures": ["2025-01-05", "2025-07-05"],
        },
        "facility": {"lender_value": "780000.00", "registered_limit": "624000.00",
                     "line_cap": "507000.00"},
        "mortgages": [
            {"ref": "mtg", "original_principal": "480000.00", "first_payment": "2025-02-01",
             "amortization_months": 300, "borrowers": ["m1"],
             "terms": [{"starts": "2025-01-01", "matures": "2030-01-01", "kind": "fixed",
                        "rate": "0.0489", "payment": None}]},
        ],
        "lines": [{"ref": "line", "spread": "0.0050", "borrowers": ["m1"]}],
        "investments": [{"ref": "inv", "kind": "non-registered", "owners": ["m1"]}],
        "prime": [["2025-01-01", "0.0545"], ["2025-01-30", "0.0520"]],
        "statements": [
            {"account": "line", "starts": "2025-02-01", "ends": "2025-02-28",
             "opening": "0.00", "closing": "811.02", "limit": "27811.02", "value": None,
             "rates": [["2025-02-01", "0.0570"]],
             "entries": [{"id": "d1", "date": "2025-02-01", "kind": "draw", "amount": "811.02"}]},
        ],
        "uses": [{"draw": "d1", "splits": [
            {"amount": "811.02", "use": "income-investment", "to": "inv",
             "evidence": ["confirm-1", {"ref": "confirm-2", "on": "2025-03-04"}]}]}],
        "plan": None,
    }  # fmt: skip


def problems_of(data: dict[str, Any]) -> dict[str, str]:
    """Message by path for a file that must be refused."""
    with pytest.raises(BadInput) as caught:
        household_from_json(data, "alder.json")
    assert all(one.remedy and one.file == "alder.json" for one in caught.value.problems)
    return {one.where: one.message for one in caught.value.problems}


def test_writing_gives_back_what_was_read() -> None:
    household = household_from_json(sample(), "alder.json")
    written = household_to_json(household)
    assert household_from_json(written, "again") == household
    assert household_to_json(household_from_json(written, "again")) == written
    assert written["uses"] == sample()["uses"]


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_every_sample_reads_and_satisfies_the_published_schema(path: Path) -> None:
    household = read_household(path.read_text("utf-8"), path.name)
    written = household_to_json(household)
    assert household_from_json(written, "again") == household
    jsonschema.validate(json.loads(path.read_text("utf-8")), SCHEMA)
    jsonschema.validate(written, SCHEMA)


def test_the_published_schema_and_the_reader_refuse_the_same_keys() -> None:
    for place in ("", "facility", "mortgages.0", "mortgages.0.terms.0", "lines.0",
                  "statements.0", "statements.0.entries.0", "uses.0.splits.0",
                  "members.0.gains.0", "suitability", "suitability.assessments.0"):  # fmt: skip
        data = sample()
        node: Any = data
        for step in filter(None, place.split(".")):
            node = node[int(step)] if step.isdigit() else node[step]
        node["surprise"] = "x"
        assert any("surprise" in where for where in problems_of(data))
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(data, SCHEMA)


def test_all_faults_are_named_at_once() -> None:
    data = sample()
    data["facility"]["line_cap"] = 507000
    data["statements"][0]["entries"][0]["date"] = "2025-03-01"
    data["lines"][0]["payer"] = "m9"
    data["household"]["province"] = "ZZ"
    del data["mortgages"][0]["terms"][0]["rate"]
    found = problems_of(data)
    assert set(found) == {
        "facility.line_cap",
        "statements[0].entries[0].date",
        "lines[0].payer",
        "household.province",
        "mortgages[0].terms[0].rate",
    }


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("statements.0.closing", "1e5"),
        ("statements.0.closing", "12.345"),
        ("statements.0.closing", 811.02),
        ("statements.0.account", "other"),
        ("statements.0.ends", "2025-01-01"),
        ("statements.0.entries.0.amount", "-5.00"),
        ("statements.0.entries.0.kind", "payment"),
        ("mortgages.0.terms.0.rate", "4.89"),
        ("mortgages.0.terms.0.matures", "2025-01-01"),
        ("mortgages.0.amortization_months", "300"),
        ("mortgages.0.amortization_months", True),
        ("uses.0.splits.0.use", "holiday"),
        ("prime.1.0", "2025-01-01"),
        ("lines.0.day_basis", 360),
        ("investments.0.ref", "personal"),
        ("version", 2),
        ("members.0.gains.0.amount", "0.00"),
        ("suitability.assessments.0.net_worth", 5),
        ("suitability.assessments.0.knowledge", "some"),
        ("suitability.assessments.0.horizon_years", 101),
        ("suitability.disclosures.1", "2025-01-05"),
    ],
)
def test_a_wrong_value_is_refused_with_its_path(path: str, value: object) -> None:
    data = sample()
    node: Any = data
    *steps, last = path.split(".")
    for step in steps:
        node = node[int(step)] if step.isdigit() else node[step]
    node[int(last) if last.isdigit() else last] = value
    shown = "".join(f"[{s}]" if s.isdigit() else f".{s}" for s in path.split(".")).lstrip(".")
    assert any(where.startswith(shown) for where in problems_of(data)), problems_of(data)


def test_overlapping_statements_and_repeated_references_are_refused() -> None:
    data = sample()
    data["statements"].append(copy.deepcopy(data["statements"][0]))
    data["investments"].append({"ref": "line", "kind": "tfsa", "owners": []})
    found = problems_of(data)
    assert "overlaps" in found["statements[1].starts"]
    assert "used twice" in found["investments[1].ref"]


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ('{"format": "towpath/household",', "line 1"),
        ('{"a": 1, "a": 2}', "a"),
        ('{"format": NaN}', ""),
        ("[" * 100_000, ""),
        ("[]", ""),
    ],
    ids=["cut short", "repeated key", "not a number", "too deep", "not an object"],
)
def test_text_that_is_not_a_household_is_refused_clearly(text: str, where: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_household(text, "alder.json")
    assert caught.value.problems[0].where.startswith(where)
