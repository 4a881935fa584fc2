"""What is said of uses, sources and ids that do not fit the entries on file."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.core.facts import facts_problems
from planning.core.household_file import household_from_json, household_to_json
from planning.core.types import Household
from tests.ledger.core.builders import household

DRAW = "2025-01-02 draw 1000.00 none"


def claim(draw: str = "line-1", amount: str = "1000.00", **split: Any) -> list[dict[str, Any]]:
    """A uses row with one split."""
    row = {"amount": amount, "use": "income-investment", "to": "inv", "evidence": []} | split
    return [{"draw": draw, "splits": [{k: v for k, v in row.items() if v is not None}]}]


def bought(**more: str) -> list[dict[str, str]]:
    """A contribution to the account."""
    return [{"id": "c1", "date": "2025-02-03", "kind": "contribution", "amount": "5.00", **more}]


def said(found: Household) -> list[tuple[str, str]]:
    """Path and message of every problem; each has a remedy."""
    problems, _ = facts_problems(found, "file.json")
    assert all(one.remedy and one.file == "file.json" for one in problems)
    return [(one.where, one.message) for one in problems]


def warned(found: Household) -> tuple[str, ...]:
    return facts_problems(found, "file.json")[1]


def with_gap(found: Household) -> Household:
    """The same household with the line's February statement lost: two statements around it."""
    data: Any = household_to_json(found)
    whole = data["statements"][0]
    first = whole | {"ends": "2025-01-31", "closing": "1000.00"}
    last = {"account": "line", "starts": "2025-03-01", "ends": "2025-12-31",
            "opening": "1000.00", "closing": "1000.00"}  # fmt: skip
    data["statements"][0:1] = [first, last]
    return household_from_json(data, "file.json")


def test_a_sound_file_has_no_problem() -> None:
    found = household(DRAW, bought(**{"from": "line-1"}), uses=claim())
    assert facts_problems(found, "file.json") == ((), ())


def test_a_use_of_no_draw_on_file_is_refused_or_warned_of_when_a_statement_is_missing() -> None:
    found = household(DRAW, uses=claim("line-9"))
    assert said(found) == [("uses[0].draw", "there is no draw 'line-9' on file")]
    assert said(with_gap(found)) == []
    assert "line-9" in warned(with_gap(found))[0]


def test_a_use_of_a_repayment_is_refused_even_when_a_statement_is_missing() -> None:
    found = household(f"{DRAW}\n2025-01-03 repayment 0.00", uses=claim("line-2", "0.00"))
    assert [where for where, _ in said(with_gap(found))] == ["uses[0].draw"]


@pytest.mark.parametrize("name", ["line-opening", "line-gap-2025-03-01", "line-break-2025-12-31"])
def test_what_a_statement_implies_may_always_be_named(name: str) -> None:
    assert said(household(DRAW, uses=claim(name))) == []


def test_a_source_that_is_not_on_file_is_refused_where_every_statement_is_there() -> None:
    found = household(DRAW, bought(**{"from": "line-9"}))
    assert said(found) == [
        ("statements[1].entries[0].from", "there is no entry 'line-9' on file")
    ]  # fmt: skip
    assert said(with_gap(found)) == []
    assert len(warned(with_gap(found))) == 1


def test_a_source_before_the_missing_stretch_is_still_refused() -> None:
    early = bought(**{"from": "line-9"})
    early[0]["date"] = "2025-01-20"
    assert len(said(with_gap(household(DRAW, early)))) == 1


def test_splits_above_the_draw_are_refused() -> None:
    found = household(DRAW, uses=claim(amount="1000.01"))
    assert said(found) == [("uses[0].splits", "the splits add up to more than the draw")]


@pytest.mark.parametrize(
    ("split", "message"),
    [({"to": None}, "an investment draw names the account it went to"),
     ({"to": "nowhere"}, "there is no investment account 'nowhere'"),
     ({"use": "refinance", "to": None}, "a refinance names the line it paid off"),
     ({"use": "line-interest", "to": "inv"}, "there is no line 'inv'"),
     ({"use": "personal", "to": "nowhere"}, "there is no account 'nowhere'")],
)  # fmt: skip
def test_a_split_names_what_its_use_needs(split: dict[str, Any], message: str) -> None:
    assert said(household(DRAW, uses=claim(**split))) == [("uses[0].splits[0].to", message)]


def test_ids_are_unique_in_the_household_and_keep_off_reserved_names() -> None:
    implied = "line-gap-2025-02-03"
    account = [
        {"id": "line-1", "date": "2025-02-03", "kind": "contribution", "amount": "5.00"},
        {"id": implied, "date": "2025-02-03", "kind": "fee", "amount": "5.00"},
        {"id": "line-gap-fee", "date": "2025-02-03", "kind": "fee", "amount": "5.00"},
    ]
    assert said(household(DRAW, account)) == [
        ("statements[0].entries[0].id", "the id 'line-1' is used 2 times"),
        ("statements[1].entries[0].id", "the id 'line-1' is used 2 times"),
        (
            "statements[1].entries[1].id",
            f"the id {implied!r} is reserved for what a statement implies",
        ),
    ]


def test_every_fault_is_said_at_once() -> None:
    uses = claim("line-9", to="nowhere") + claim("line-1", "2000.00")
    assert len(said(household(DRAW, bought(**{"from": "gone"}), uses=uses))) == 4
