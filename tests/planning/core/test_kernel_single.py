"""One plan in plain whole numbers against the scalar engine, every cell of every month."""

from __future__ import annotations

import os
import random
from dataclasses import replace
from decimal import Decimal

import numpy as np

from planning.core.kernel.book import plan_book
from planning.core.kernel.family import outside
from planning.core.kernel.loading import load
from planning.core.kernel.single import play_alone
from planning.core.plan import run_plan
from planning.core.plan_types import ROW_KEYS
from planning.core.types import Household
from tests.planning.core.test_kernel import varied_household

SEEDS = int(os.environ.get("TOWPATH_KERNEL_SEEDS", "400"))


def usual_household(seed: int) -> Household:
    """A random household whose plan may be played alone: interest in cash, or by advance."""
    dice = random.Random(f"single {seed}")
    household = varied_household(seed)
    plan = household.plan
    assert plan is not None
    by_advance = replace(household.facility, capitalised_interest="paid-by-advance")
    opening = {**dict(plan.opening), "line": 0}
    yields = tuple(
        (kind, rate) for kind, rate in plan.investment.yields_annual if kind != "return_of_capital"
    )
    if plan.reborrow is not None:
        plan = replace(plan, reborrow=replace(plan.reborrow, opening_draw_cents=0))
    return replace(
        household,
        facility=by_advance if plan.line_interest == "from-line" else household.facility,
        lines=(replace(household.lines[0], day_basis="365"),),
        uses=(),
        plan=replace(
            plan,
            opening=tuple(opening.items()),
            investment=replace(plan.investment, yields_annual=yields),
            extras=(),
            months=dice.choice((60, 60, 61, 119)),
        ),
    )


def test_one_plan_alone_agrees_to_the_cent_in_every_month() -> None:
    households = [one for one in map(usual_household, range(SEEDS)) if outside(one) is None]
    loaded = load(households)
    assert set(loaded.column("rule").tolist()) == {0, 1, 2}
    assert set(loaded.column("mode").tolist()) == {0, 1}
    assert set(loaded.column("route").tolist()) == {0, 1, 2}
    assert len(loaded.steps) > 50
    played = 0
    for household, one in zip(households, play_alone(loaded, months_wanted=True), strict=True):
        if one is None:
            continue
        rows = run_plan(household).rows
        for row, got in zip(rows, one.rows, strict=True):
            want = tuple(getattr(row, key) for key in ROW_KEYS)
            named = [(key, w, g) for key, w, g in zip(ROW_KEYS, want, got, strict=True) if w != g]
            assert not named, f"{household.ref} {row.month}: {named}"
        for key, total in one.totals.items():
            assert total == sum(getattr(row, key) for row in rows), (household.ref, key)
        for key, figure in one.closing.items():
            assert figure == getattr(rows[-1], key), (household.ref, key)
        played += 1
    assert played > len(households) * 9 // 10


def test_unusual_plans_are_not_played_alone() -> None:
    households = [one for one in map(varied_household, range(200)) if outside(one) is None]
    loaded = load(households)
    answered = [one is not None for one in play_alone(loaded)]
    unusual = (loaded.column("mode") == 2) | (loaded.column("mixed") > 0)
    assert not (np.array(answered) & unusual).any()
    assert any(answered)


def test_few_plans_come_to_what_many_come_to() -> None:
    households = [one for one in map(varied_household, range(48)) if outside(one) is None]
    many = plan_book(households * 6, keep=ROW_KEYS)
    for since in range(0, len(households), 5):
        chosen = households[since : since + 5]
        few = plan_book(chosen, keep=ROW_KEYS)
        same = slice(since, since + len(chosen))
        for key, column in few.totals.items():
            assert column.tolist() == many.totals[key][same].tolist(), key
        for key, months in few.kept.items():
            length = months.shape[0]
            assert (months == many.kept[key][:length, same]).all(), key


def test_a_rounding_the_cut_off_rate_cannot_decide_is_left_to_the_engine() -> None:
    household = usual_household(4)
    loaded = load([household])
    plain = next(play_alone(loaded))
    assert plain is not None
    # Half of one cent, less one unit of the numerator, on a value of one cent.
    names = {"value": 1, "own": 1, "growth": 2**60 - 1, "falls": 0}
    for name, value in names.items():
        loaded.column(name)[0] = value
    assert next(play_alone(loaded)) is None


def test_a_shifted_rate_moves_the_interest_of_a_plan_played_alone() -> None:
    household = usual_household(4)
    plan = household.plan
    assert plan is not None
    shifted = replace(
        household,
        plan=replace(plan, prime=tuple((day, rate + Decimal("0.01")) for day, rate in plan.prime)),
    )
    low, high = play_alone(load([household, shifted]))
    assert low is not None
    assert high is not None
    assert low.totals["line_interest"] < high.totals["line_interest"]
