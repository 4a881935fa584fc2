"""A decision before it is saved: what is wrong with it, and what it would change."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.problems import BadInput
from ledger.core.close import evaluate
from ledger.core.decision import decided, decision_effect, decision_problems, drawing, drawings
from planning.core.household_file import household_from_json, household_to_json
from planning.core.types import Evidence, Household, Split
from tests.ledger.core.random_households import random_life

DATA = json.loads(Path("tests/samples/papers.json").read_text("utf-8"))
PAPERS = household_from_json(DATA, "papers.json")
MARCH = "line-draw-2025-03-01-1"
PAPER = Evidence("confirm-march", None)


def split(cents: int, use: str = "income-investment", to: str | None = "inv", **more: Any) -> Split:
    return Split(cents, use, to, more.get("of"), more.get("evidence", ()))


def test_what_a_decision_may_be_about() -> None:
    found = [one.entry.id for one in drawings(PAPERS)]
    assert len(found) == 7
    assert found[1] == MARCH
    assert drawing(PAPERS, "line-2025-03-int") is None
    assert drawing(PAPERS, "inv-contribution-2025-02-01-0") is None


@pytest.mark.parametrize(
    ("draw", "splits", "where", "words"),
    [
        ("nothing", [split(1)], "draw", "there is no draw"),
        ("line-2025-03-int", [split(1)], "draw", "there is no draw"),
        (MARCH, [split(82869)], "splits", "more than the draw"),
        (MARCH, [split(82868), split(1, "personal", None)], "splits", "more than the draw"),
        (MARCH, [split(1, to=None)], "splits[0].to", "names the account"),
        (MARCH, [split(1, to="elsewhere")], "splits[0].to", "no investment account"),
        (MARCH, [split(1), split(1, "personal", "x")], "splits[1].to", "no account"),
        (MARCH, [split(1, "refinance", "inv")], "splits[0].to", "names the line"),
        (MARCH, [split(1, "gambling", None)], "splits[0].use", "gambling"),
        (MARCH, [split(1, of="eligible")], "splits[0].of", "refinance"),
        (MARCH, [split(0)], "splits[0].amount", "nothing"),
        (MARCH, [split(1, evidence=(Evidence("", None),))], "splits[0].evidence[0]", "text"),
        (MARCH, [split(1, evidence=(Evidence("a\nb", None),))], "splits[0].evidence[0]", "control"),
    ],
)
def test_what_is_wrong_is_said_with_its_place(
    draw: str, splits: list[Split], where: str, words: str
) -> None:
    found = decision_problems(PAPERS, draw, splits)
    assert [one for one in found if one.where == where and words in one.message], found
    with pytest.raises(BadInput):
        decision_effect(PAPERS, draw, splits)


def test_a_fault_the_household_had_before_is_not_blamed_on_a_decision() -> None:
    broken = replace(PAPERS, uses=(*PAPERS.uses[2:], replace(PAPERS.uses[0], draw="gone")))
    assert decision_problems(broken, MARCH, [split(82868)]) == ()


def test_a_paper_brings_back_the_deduction_and_settles_the_finding() -> None:
    effect = decision_effect(PAPERS, MARCH, [split(82868, evidence=(PAPER,))])
    assert (str(effect.on), effect.through) == ("2025-03-01", "2025-08")
    (year,) = effect.years
    assert year.before.unsupported > year.after.unsupported
    assert year.after.deductible - year.before.deductible == (
        year.before.unsupported - year.after.unsupported
    )
    gone = {one.code for one in effect.findings if one.after is None and one.key == MARCH}
    assert "unsupported-draw" in gone
    assert not [one for one in effect.findings if one.before is None]


def test_spending_it_opens_findings_that_come_first() -> None:
    effect = decision_effect(PAPERS, MARCH, [split(82868, "personal", None)])
    assert effect.findings[0].before is None
    opened = {one.code for one in effect.findings if one.before is None}
    assert {"personal-use", "mixed-line"} <= opened
    assert effect.years[0].after.ineligible > 0


def test_the_same_decision_again_changes_nothing() -> None:
    held = next(one.splits for one in PAPERS.uses if one.draw == MARCH)
    assert decision_effect(PAPERS, MARCH, held).changes_nothing


def test_taking_the_claim_back_leaves_a_draw_unsupported() -> None:
    first = PAPERS.uses[0].draw
    effect = decision_effect(PAPERS, first, ())
    assert effect.years[0].after.deductible < effect.years[0].before.deductible
    assert [one.draw for one in decided(PAPERS, first, ()).uses] == [
        one.draw for one in PAPERS.uses[1:]
    ]


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.data())
def test_a_preview_is_what_two_evaluations_say(seed: int, data: st.DataObject) -> None:
    """The effect is that of closing the two files; months before the draw keep their digests."""
    household = random_life(seed, lines=1, months=5)
    found = drawings(household)
    if not found:
        return
    fact = data.draw(st.sampled_from(found))
    use = data.draw(st.sampled_from(["personal", "rental-expense", "income-investment"]))
    cents = data.draw(st.integers(1, fact.amount))
    chosen = split(cents, use, "inv" if use == "income-investment" else None, evidence=(PAPER,))
    effect = decision_effect(household, fact.entry.id, [chosen])
    after = decided(household, fact.entry.id, [chosen])
    assert reread(after) == after
    one, two = evaluate(household), evaluate(after)
    assert tuple(year.before for year in effect.years) == one.deductions
    assert tuple(year.after for year in effect.years) == two.deductions
    opened = {(run.finding.code, run.finding.key) for run in two.runs if run.open}
    opened -= {(run.finding.code, run.finding.key) for run in one.runs if run.open}
    assert {(row.code, row.key) for row in effect.findings if row.before is None} == opened
    for first, second in zip(one.closes, two.closes, strict=True):
        if first.as_of < fact.on:
            assert first.digest == second.digest
            assert (first.actual, first.findings) == (second.actual, second.findings)


def reread(household: Household) -> Household:
    return household_from_json(household_to_json(household), "again.json")
