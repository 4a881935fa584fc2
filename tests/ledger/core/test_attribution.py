"""Attribution of the gap between plan and life: exact, and laid at the right door."""

from __future__ import annotations

from functools import cache

import pytest

from ledger.core.close import Closing
from ledger.core.replay import CAUSES
from planning.core.household_file import household_from_json
from planning.core.plan import run_plan
from reports.demo.profiles import LAST_MONTH, PROFILES
from reports.demo.simulator import base_file, play

BY_REF = {one.ref: one for one in PROFILES}


@cache
def closing(ref: str) -> Closing:
    """A demo household, played and ready to close."""
    profile = BY_REF[ref]
    plan = run_plan(household_from_json(base_file(profile), ref))
    refunds = {int(row.month[:4]): row.refund for row in plan.rows if row.month[5:] == "05"}
    return Closing(household_from_json(play(profile, refunds).file, ref))


@pytest.mark.parametrize("ref", BY_REF)
def test_the_parts_of_every_month_sum_to_its_gap(ref: str) -> None:
    found = closing(ref)
    attributed = found.attribution(LAST_MONTH)
    assert len(attributed) == 30
    for month, measures in attributed.items():
        actual, planned = found.actual(month), found.plan_rows[month]
        gaps = {
            "deductible": actual.deductible - planned.deductible,
            "mortgage": actual.mortgage_closing - planned.mortgage_closing,
            "line": actual.line_closing - planned.line_closing,
        }
        for measure, gap in gaps.items():
            assert set(measures[measure]) == set(CAUSES)
            assert sum(measures[measure].values()) == gap, (month, measure)


# (household, month, cause that carries at least nine tenths of the year's gap)
DOORS = [
    ("HH-0103", "2026-10", "reborrowing"),
    ("HH-0105", "2026-10", "use-of-draws"),
    ("HH-0107", "2026-06", "posting"),
    ("HH-0114", "2026-10", "line-rate"),
    ("HH-0118", "2026-10", "leaks"),
    ("HH-0119", "2026-10", "leaks"),
]


@pytest.mark.parametrize(("ref", "month", "cause"), DOORS)
def test_a_single_lapse_is_laid_at_its_own_door(ref: str, month: str, cause: str) -> None:
    parts = closing(ref).attribution(LAST_MONTH)[month]["deductible_to_date"]
    gap = sum(parts.values())
    assert gap != 0
    assert abs(parts[cause]) >= abs(gap) * 0.9, parts


@pytest.mark.parametrize("ref", ["HH-0101", "HH-0110", "HH-0116", "HH-0117"])
def test_a_household_that_follows_its_plan_has_nothing_to_explain(ref: str) -> None:
    for month, measures in closing(ref).attribution(LAST_MONTH).items():
        for measure, parts in measures.items():
            assert not any(parts.values()), (month, measure, parts)


def test_a_month_sees_only_what_its_own_close_knew() -> None:
    found = closing("HH-0121")
    late = found.attribution(LAST_MONTH)["2026-09"]
    alone = Closing(found.household).attribution("2026-09")["2026-09"]
    assert late == alone
