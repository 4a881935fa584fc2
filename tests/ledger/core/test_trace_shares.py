"""Every dollar of a deduction has a draw behind it, and the parts add up to the cent."""

from __future__ import annotations

import json
from collections import defaultdict
from pathlib import Path

import pytest

from ledger.core.deductions import deduction_years
from ledger.core.trace_view_shares import shares_of
from ledger.core.trace_view_year import year_trace
from ledger.core.tracing import trace
from planning.core.household_file import household_from_json, read_household
from planning.core.months import month_of
from planning.core.types import Household
from tests.ledger.core.builders import household, traced
from tests.ledger.core.random_households import random_life

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
CASES = [*sorted(one.stem for one in SAMPLES.glob("*.json")), *range(30)]


def a_household(case: str | int) -> Household:
    """A sample by name, or a random household by number."""
    if isinstance(case, int):
        return random_life(case, lines=1 + case % 2)
    path = SAMPLES / f"{case}.json"
    return read_household(path.read_text("utf-8"), path.name)


@pytest.mark.parametrize("case", CASES)
def test_the_parts_of_every_year_add_up_to_its_deduction(case: str | int) -> None:
    found = a_household(case)
    end = max((one.ends for one in found.statements), default=None)
    if end is None:
        assert case == "plan-only"
        return
    ours = trace(found, end)
    shares = shares_of(found, ours)
    for year in deduction_years(found, ours, month_of(end)):
        parts = year_trace(found, ours, shares, year.year)
        assert parts.deductible == year.deductible
        assert sum(one.cents for one in parts.draws) == year.deductible
        assert sum(one.cents for one in parts.uses) == year.deductible
        assert sum(one.cents for one in parts.interest) == year.deductible
        assert sum(one.compound for one in parts.draws) == year.compound
    for one in shares.postings:
        assert sum(part.cents for part in one.shares) == one.posting.classes[0]
        assert sum(part.compound for part in one.shares) == one.posting.compound[0]
    for one in shares.payments:
        assert sum(part.cents for part in one.shares) == one.payment.classes[0]


@pytest.mark.parametrize("case", CASES)
def test_the_moves_of_a_draw_lead_to_what_it_has_left(case: str | int) -> None:
    found = a_household(case)
    end = max((one.ends for one in found.statements), default=None)
    if end is None:
        assert case == "plan-only"
        return
    ours = trace(found, end)
    shares = shares_of(found, ours)
    left: dict[tuple[str, str, str], int] = defaultdict(int)
    for move in shares.moves:
        if move.kind == "relink":
            left[move.line, move.draw, move.target] -= move.cents
            left[move.line, move.draw, move.to] += move.cents
        else:
            left[move.line, move.draw, move.target] += move.cents
    held = {
        (line, *source): cents
        for line, sources in shares.principal.items()
        for source, cents in sources.items()
    }
    assert {key: cents for key, cents in left.items() if cents} == held
    for ref, line in ours.lines.items():
        assert sum(shares.principal[ref].values()) == line.principal[0]


def test_simple_interest_follows_each_draws_nights() -> None:
    # 1,000 for 30 nights and 3,000 for 10: weights 30,000 and 30,000.
    found = household(
        "2025-01-01 draw 1000.00 invest\n2025-01-21 draw 3000.00 invest\n"
        "2025-01-31 interest 10.00\n2025-02-05 repayment 10.00"
    )
    shares = shares_of(found, traced(found))
    (posting,) = shares.postings
    assert [(one.draw, one.simple) for one in posting.shares] == [("line-1", 500), ("line-2", 500)]
    (paid,) = shares.payments
    assert [(one.draw, one.cents) for one in paid.shares] == [("line-1", 500), ("line-2", 500)]


def test_a_repayment_lowers_the_draws_in_proportion() -> None:
    found = household(
        "2025-01-01 draw 1000.00 invest\n2025-01-21 draw 3000.00 invest\n"
        "2025-02-05 repayment 400.00"
    )
    shares = shares_of(found, traced(found))
    lowered = [(one.draw, one.cents) for one in shares.moves if one.id == "line-3"]
    assert lowered == [("line-1", -100_00), ("line-2", -300_00)]
    assert shares.principal["line"] == {("line-1", "inv"): 900_00, ("line-2", "inv"): 2700_00}


def test_a_year_by_the_method_payable_counts_postings_and_compound_interest_paid() -> None:
    found = household(
        "2025-01-01 draw 10000.00 invest\n2025-01-31 interest 50.00\n"
        "2025-02-28 interest 50.25\n2025-03-01 repayment 100.25",
        interest_method="payable",
    )
    ours = traced(found)
    parts = year_trace(found, ours, shares_of(found, ours), 2025)
    (year,) = deduction_years(found, ours, "2025-12")
    assert year.compound > 0
    assert parts.deductible == year.deductible == 100_25
    (draw,) = parts.draws
    assert (draw.draw, draw.cents, draw.compound) == ("line-1", 100_25, year.compound)


def test_interest_paid_by_its_own_advance_becomes_a_source_of_its_own() -> None:
    found = household(
        "2025-01-01 draw 10000.00 invest\n2025-01-31 interest 50.00\n2025-02-28 interest 50.25",
        capitalised_interest="paid-by-advance",
    )
    ours = traced(found)
    shares = shares_of(found, ours)
    assert shares.principal["line"]["line-2", "interest"] == 50_00
    parts = year_trace(found, ours, shares, 2025)
    assert {(one.draw, one.target) for one in parts.draws} == {
        ("line-1", "inv"),
        ("line-2", "interest"),
    }


def test_entry_ids_of_the_sample_are_those_of_the_file() -> None:
    data = json.loads((SAMPLES / "steady.json").read_text("utf-8"))
    found = household_from_json(data, "steady")
    ours = trace(found, max(one.ends for one in found.statements))
    ids = {entry["id"] for one in data["statements"] for entry in one["entries"]}
    years = deduction_years(found, ours, month_of(ours.as_of))
    shares = shares_of(found, ours)
    seen = {part.draw for one in years for part in year_trace(found, ours, shares, one.year).draws}
    assert seen
    assert seen <= ids
