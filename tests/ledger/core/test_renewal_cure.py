"""A renewal's figures: the plan's own, at three rates, and what a cut would cost."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

from ledger.core.renewal_cure import renewal_plan
from planning.core.household_file import read_household
from planning.core.plan import run_plan
from planning.core.renewal_offers import Offer, compare_offers

FILE = Path(__file__).resolve().parents[2] / "samples" / "plan-only.json"
HOUSEHOLD = read_household(FILE.read_text("utf-8"), FILE.name)
ON = date(2030, 1, 1)
KEY = f"mtg:{ON}"


def test_each_way_is_the_offer_of_that_rate_compared():
    found = renewal_plan(HOUSEHOLD, KEY, 21)
    offers = [
        Offer(f"{rate}", "fixed", 1, rate=Decimal(rate)) for rate in ("0.0489", "0.0589", "0.0689")
    ]
    compared = compare_offers(HOUSEHOLD, "mtg", ON, offers).offers
    for way, one in zip(found.ways, compared, strict=True):
        assert (way.rate, way.payment) == (one.rate, one.payment)
        assert (way.interest, way.room) == (one.shared.interest, one.shared.room_freed)
    assert found.act_by == date(2029, 12, 11)


def test_a_higher_rate_costs_more_frees_less_and_converts_no_sooner():
    low, middle, high = renewal_plan(HOUSEHOLD, KEY, 21).ways
    assert low.payment < middle.payment < high.payment
    assert low.interest < middle.interest < high.interest
    assert low.room > middle.room > high.room


def test_a_cut_costs_the_room_freed_from_the_renewal_on():
    found = renewal_plan(HOUSEHOLD, KEY, 21)
    rows = run_plan(HOUSEHOLD).rows
    before = sum(row.room_freed for row in rows if row.month <= "2030-01")
    assert found.room_year == found.ways[0].room > 0
    assert found.room_all > found.room_year
    assert before + found.room_all <= HOUSEHOLD.mortgages[0].original_principal_cents


def test_without_a_plan_that_reaches_the_day_there_is_nothing_to_play():
    assert renewal_plan(replace(HOUSEHOLD, plan=None), KEY, 21) is None
    assert renewal_plan(HOUSEHOLD, "mtg:2099-01-01", 21) is None
    assert renewal_plan(HOUSEHOLD, "other:2030-01-01", 21) is None
