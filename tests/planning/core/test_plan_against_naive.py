"""The plan against a slow second simulator, cent by cent, on random households."""

from __future__ import annotations

import random
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from planning.core.household_file import household_from_json
from planning.core.plan import run_plan
from planning.core.types import Household
from tests.planning.core.naive_plan import naive_rows

KEYS = (
    "mortgage_opening", "payment", "interest", "principal", "prepayment", "mortgage_closing",
    "room_freed", "draw", "interest_draw", "line_opening", "line_interest", "line_interest_paid",
    "line_closing", "eligible", "unsupported", "ineligible", "deductible", "contribution",
    "growth", "distribution", "portfolio_closing", "refund", "limit", "room", "refused",
)  # fmt: skip


def random_household(seed: int) -> Household:
    """A household of random terms, every choice of the format in reach."""
    dice = random.Random(seed)
    value = dice.randrange(300_000, 1_500_000, 5_000)
    starts = date(dice.choice((2023, 2024, 2025)), dice.randrange(1, 13), 1)
    mortgage = round(value * dice.uniform(0.2, 0.79), 2)
    frequency = dice.choice(
        ("monthly", "monthly", "semi-monthly", "biweekly", "weekly", "accelerated-biweekly",
         "accelerated-weekly")
    )  # fmt: skip
    first_day = dice.randrange(1, 14) if frequency == "semi-monthly" else dice.randrange(1, 32)
    first_month = starts.month % 12 + 1
    first_year = starts.year + starts.month // 12
    if first_month == 2:
        first_day = min(first_day, 28)
    first = date(first_year, first_month, min(first_day, 30))
    money = "{:.2f}".format
    line_open = dice.choice((0, 0, round(dice.uniform(0, value * 0.1), 2)))
    share = dice.choice(("1", "1", "0.5", "0.8333"))
    yields = {
        "eligible_dividend": f"{dice.uniform(0, 0.04):.4f}",
        "foreign": f"{dice.choice((0, 0.005, 0.01)):.4f}",
        "return_of_capital": dice.choice(("0", "0", "0.0250")),
    }
    matures = date(starts.year + 2, starts.month, 1)
    data: dict[str, Any] = {
        "format": "towpath/household", "version": 1,
        "household": {"ref": f"R-{seed}", "name": "Random", "province": "ON", "advisor": None},
        "members": [{"ref": "m1", "name": "A", "province": "ON"}],
        "facility": {
            "lender_value": money(value),
            "registered_limit": money(value * dice.choice((0.8, 0.7))),
            "revolving_cap": "0.65", "line_cap": money(value * dice.choice((0.65, 0.4, 0.7))),
            "excess_rule": dice.choice(("excess-first", "proportional", "none")),
        },
        "mortgages": [{
            "ref": "mtg", "original_principal": money(mortgage * dice.choice((1, 1.05))),
            "first_payment": first.isoformat(),
            "amortization_months": dice.choice((290, 300, 240, 26)),
            "frequency": frequency,
            "compounding": dice.choice(("semi-annual", "monthly", "annual")),
            "biweekly_basis": dice.choice(("annuity", "annual-total")),
            "prepayment_privilege": dice.choice(("0.15", "0.01", "0")), "borrowers": ["m1"],
            "terms": [{"starts": starts.isoformat(), "matures": matures.isoformat(),
                       "kind": "fixed", "rate": f"{dice.uniform(0.01, 0.08):.4f}"}],
        }],
        "lines": [{"ref": "line", "day_basis": dice.choice((365, "actual")),
                   "spread": dice.choice(("0.0050", "0", "0.0125"))}],
        "investments": [{"ref": "inv", "kind": "non-registered", "owners": ["m1"]}],
        "prime": [["2020-01-01", "0.0245"], ["2023-07-13", "0.0720"]],
        "plan": {
            "starts": starts.isoformat(), "months": 60,
            "opening": {"mtg": money(mortgage), "line": money(line_open),
                        "inv": money(dice.choice((0, 25000.5)))},
            "prime": [
                [date(starts.year + 1, 3, 14).isoformat(), f"{dice.uniform(0.03, 0.07):.4f}"]
            ],
            "renewals": [{"mortgage": "mtg", "on": matures.isoformat(),
                          "rate": f"{dice.uniform(0.02, 0.07):.4f}"}],
            "reborrow": {"share": share, "line": "line", "into": "inv", "opening_draw": "0.00",
                         "reserve": dice.choice(("0.00", "5000.00"))},
            "line_interest": dice.choice(("from-cash", "from-line")),
            "investment": {"growth": f"{dice.uniform(-0.05, 0.08):.4f}", "yields": yields,
                           "distributions": dice.choice(("reinvest", "prepay", "cash"))},
            "refund": dice.choice(("prepay", "invest", "keep")),
            "refund_month": dice.randrange(1, 13),
            "marginal": {"ordinary": "0.4341", "eligible_dividend": "0.2538",
                         "other_dividend": "0.3625", "interest": "0.4341", "foreign": "0.4341",
                         "capital_gain": "0.2171"},
            "extras": [{"on": date(starts.year + 1, 3, 15).isoformat(), "amount": "5000.00"}],
            "inflation": "0.02",
        },
    }  # fmt: skip
    return household_from_json(data, f"random {seed}")


def compare(household: Household) -> None:
    """Every key of every month, with the first difference named."""
    ours = run_plan(household).rows
    theirs = naive_rows(household)
    assert len(ours) == len(theirs)
    for row, expected in zip(ours, theirs, strict=True):
        assert row.month == expected["month"]
        got = {key: getattr(row, key) for key in KEYS}
        want = {key: expected[key] for key in KEYS}
        assert got == want, f"{household.ref} {row.month}"


@pytest.mark.parametrize("seed", range(80))
def test_random_households_agree_to_the_cent(seed: int) -> None:
    compare(random_household(seed))


def test_the_generator_reaches_every_choice() -> None:
    plans = [random_household(seed) for seed in range(80)]
    assert {one.mortgages[0].frequency for one in plans} >= {"monthly", "accelerated-weekly"}
    assert {one.plan.line_interest for one in plans if one.plan} == {"from-cash", "from-line"}
    assert {one.facility.excess_rule for one in plans} == {"excess-first", "proportional", "none"}
    assert any(one.plan and dict(one.plan.opening)["line"] > 0 for one in plans)
    assert Decimal("0.0250") in {
        dict(one.plan.investment.yields_annual)["return_of_capital"] for one in plans if one.plan
    }
