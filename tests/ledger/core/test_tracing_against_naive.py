"""Tracing against a slow second tracer on random lives, and month by month against itself."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

import pytest

from ledger.core import tracing
from ledger.core.facts import Fact, facts_problems
from ledger.core.trace_types import Trace
from ledger.core.tracing import Tracer, trace
from planning.core.months import last_day, month_of, months_between
from planning.core.types import Household
from tests.ledger.core.naive_trace import CLASSES, NaiveTracer, Result
from tests.ledger.core.random_households import random_life

SEEDS = range(90)


def end_of(household: Household) -> tuple[Trace, Result]:
    """Both tracers at the last day of the file."""
    end = max(one.ends for one in household.statements)
    return trace(household, end), NaiveTracer(household, end).run()


@pytest.mark.parametrize("seed", SEEDS)
def test_both_tracers_agree_to_the_cent(seed: int) -> None:
    household = random_life(seed, lines=1 + seed % 2)
    problems, _ = facts_problems(household, "life")
    assert not problems
    ours, theirs = end_of(household)
    for ref, state in theirs.lines.items():
        line = ours.lines[ref]
        assert line.principal == tuple(state.principal.values())
        assert line.classes == tuple(state.held(c) for c in CLASSES)
        assert dict(line.targets) == state.targets
        assert line.balance == household.statements_of(ref)[-1].closing_cents
        for index in range(3):
            assert sum(row.change[index] for row in line.rows) == line.classes[index]
    paid: dict[int, list[int]] = defaultdict(lambda: [0, 0, 0])
    compound: dict[int, int] = defaultdict(int)
    for one in ours.payments:
        compound[one.on.year] += one.compound[0]
        for index in range(3):
            paid[one.on.year][index] += one.classes[index]
    for year, by_class in theirs.paid.items():
        assert paid[year] == list(by_class.values())
        assert compound[year] == theirs.compound_paid[year]
    moved: dict[str, int] = defaultdict(int)
    for leak in ours.leaks:
        moved[leak.id] += leak.moved
    assert moved == theirs.moved
    assert {ref: ours.own[ref] for ref in ("inv", "inv2")} == {
        ref: theirs.own[ref] for ref in ("inv", "inv2")
    }


@pytest.mark.parametrize("seed", range(3, 90, 9))
def test_both_tracers_agree_on_every_month_end(seed: int) -> None:
    household = random_life(seed, lines=1 + seed % 2)
    for month in months_between("2024-01", "2024-09"):
        ours = trace(household, last_day(month))
        theirs = NaiveTracer(household, last_day(month)).run()
        for ref, state in theirs.lines.items():
            assert ours.lines[ref].classes == tuple(state.held(c) for c in CLASSES), month
            assert dict(ours.lines[ref].targets) == state.targets, month


@pytest.mark.parametrize("seed", range(0, 90, 6))
def test_going_on_month_by_month_equals_the_full_replay(seed: int) -> None:
    household = random_life(seed, lines=1 + seed % 2)
    end = max(one.ends for one in household.statements)
    tracer = Tracer(household)
    for month in months_between("2024-01", month_of(end)):
        assert tracer.at(last_day(month)) == trace(household, last_day(month)), month
    # Asking for an earlier date afterwards starts over and gives the same answer.
    assert tracer.at(last_day("2024-03")) == trace(household, last_day("2024-03"))


def test_going_on_plays_a_fact_a_few_times_not_once_a_month(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    played = 0
    plain = tracing._Replay._line_fact

    def counted(self: tracing._Replay, fact: Fact) -> None:
        nonlocal played
        played += 1
        plain(self, fact)

    monkeypatch.setattr(tracing._Replay, "_line_fact", counted)
    household = random_life(1, months=24)
    # Papers without a date, so that only purchases of the next days change what is known.
    undated = tuple(
        replace(use, splits=tuple(replace(one, evidence=()) for one in use.splits))
        for use in household.uses
    )
    tracer = Tracer(replace(household, uses=undated))
    for month in months_between("2024-01", "2025-12"):
        tracer.at(last_day(month))
    facts = sum(fact.of_line for fact in tracer.facts)
    assert facts <= played <= 2 * facts


def test_the_lives_reach_every_rule() -> None:
    seen: set[str] = set()
    for seed in SEEDS:
        household = random_life(seed, lines=1 + seed % 2)
        ours, _ = end_of(household)
        seen |= {leak.rule for leak in ours.leaks}
        seen |= {split.use for draw in ours.draws for split in draw.splits}
        seen |= {row.kind for line in ours.lines.values() for row in line.rows}
        seen |= {"overstated" for _ in ours.overstated}
        seen |= {"compound" for one in ours.payments if one.compound[0]}
        balances = [row.balance for line in ours.lines.values() for row in line.rows]
        seen |= {"credit" for balance in balances if balance < 0}
    assert seen >= {
        "capital", "proceeds", "registered", "income-investment", "business-expense",
        "rental-expense", "line-interest", "refinance", "registered-plan", "personal",
        "non-income-asset",
        "draw", "fee", "opening", "adjustment", "reclass", "interest", "repayment",
        "overstated", "compound", "credit",
    }  # fmt: skip
