"""The plan against a second walk of it: several mortgages and lines, variable terms,
damming, both treatments of capitalised interest, traced openings.
"""

from __future__ import annotations

import random
from datetime import date, timedelta
from typing import Any

import pytest

from planning.core.household_file import household_from_json
from planning.core.plan import run_plan
from planning.core.plan_types import ROW_KEYS, OpeningClasses
from planning.core.types import Household
from tests.planning.core.plan_oracle import walk

SEEDS = 40
Openings = dict[str, tuple[list[int], dict[str, int]]]
FREQUENCIES = (
    "monthly",
    "semi-monthly",
    "biweekly",
    "weekly",
    "accelerated-biweekly",
    "accelerated-weekly",
)


def _money(cents: float) -> str:
    return f"{cents / 100:.2f}"


def _term(dice: random.Random, starts: date, years: int, owed: int, frequency: str) -> Any:
    kind = dice.choice(("fixed", "adjustable", "static"))
    stated = None
    if dice.random() < 0.4:
        per_year = {"monthly": 12, "semi-monthly": 24}.get(frequency, 26)
        per_year = 52 if frequency.endswith("-weekly") or frequency == "weekly" else per_year
        low = 0.015 if kind == "static" else 0.066
        stated = _money(int(owed * dice.uniform(low, 0.09) / per_year))
    return {
        "starts": starts.isoformat(),
        "matures": date(starts.year + years, starts.month, starts.day).isoformat(),
        "kind": kind,
        "payment": stated,
        ("rate" if kind == "fixed" else "spread"): (
            f"{dice.uniform(0.02, 0.05):.4f}"
            if kind == "fixed"
            else f"{dice.uniform(-0.012, 0.01):.4f}"
        ),
    }


def _mortgage(dice: random.Random, ref: str, starts: date, owed: int) -> Any:
    frequency = dice.choice(FREQUENCIES)
    first = starts + timedelta(days=dice.randrange(-900, 60))
    if frequency == "semi-monthly":
        first = first.replace(day=dice.randrange(1, 14))
    begun = date(first.year, first.month, 1) - timedelta(days=1)
    begun = begun.replace(day=min(begun.day, 28))
    terms = [_term(dice, begun, dice.choice((1, 2, 3)), owed, frequency)]
    for _ in range(dice.choice((0, 1, 2))):
        since = date.fromisoformat(terms[-1]["matures"])
        terms.append(_term(dice, since, dice.choice((1, 2)), owed, frequency))
    return {
        "ref": ref,
        "original_principal": _money(int(owed * dice.uniform(1, 1.08))),
        "first_payment": first.isoformat(),
        "amortization_months": dice.choice((290, 300, 221, 61)),
        "frequency": frequency,
        "compounding": dice.choice(("semi-annual", "monthly", "annual")),
        "biweekly_basis": dice.choice(("annuity", "annual-total")),
        "prepayment_privilege": dice.choice(("0.15", "0.02", "0.002")),
        "terms": terms,
    }


def _prime(dice: random.Random, since: date, count: int) -> Any:
    days = sorted(dice.sample(range(1200), count))
    steps = [(since + timedelta(days=one), f"{dice.uniform(0.02, 0.065):.4f}") for one in days]
    return [[since.isoformat(), "0.0425"]] + [
        [day.isoformat(), rate] for day, rate in steps if day > since
    ]


def complicated(seed: int) -> tuple[Household, Openings]:
    """A household with two mortgages, two lines and two accounts, drawn by lot."""
    dice = random.Random(seed)
    starts = date(dice.choice((2023, 2024, 2025)), dice.randrange(1, 13), 1)
    owed = [dice.randrange(5_000_000, 40_000_000), dice.randrange(100_000, 9_000_000)]
    value = int(sum(owed) / dice.uniform(0.45, 0.79))
    openings: Openings = {}
    opening = {"m-a": _money(owed[0]), "m-b": _money(owed[1]), "inv": _money(3_000_001)}
    for ref in ("l-a", "l-b"):
        parts = [dice.randrange(0, 900_000) for _ in range(3)]
        if dice.random() < 0.3:
            parts = [0, 0, 0]
        spread = dice.randrange(0, parts[0] + 1)
        openings[ref] = (parts, {"inv": spread, "business": parts[0] - spread})
        opening[ref] = _money(sum(parts))
    route = dice.choice(("reinvest", "prepay", "cash"))
    data: dict[str, Any] = {
        "format": "towpath/household",
        "version": 1,
        "household": {"ref": f"W-{seed}", "name": "Walk", "province": "ON", "advisor": None},
        "facility": {
            "lender_value": _money(value),
            "registered_limit": _money(int(value * dice.choice((0.8, 0.74)))),
            "revolving_cap": "0.65",
            "line_cap": _money(int(value * dice.choice((0.3, 0.65)))),
            "excess_rule": dice.choice(("excess-first", "proportional", "none")),
            "capitalised_interest": dice.choice(("compounding", "paid-by-advance")),
            "interest_method": dice.choice(("paid", "payable")),
        },
        "mortgages": [
            _mortgage(dice, "m-a", starts, owed[0]),
            _mortgage(dice, "m-b", starts, owed[1]),
        ],
        "lines": [
            {"ref": "l-a", "day_basis": dice.choice((365, "actual")), "spread": "0.0050"},
            {"ref": "l-b", "day_basis": dice.choice((365, "actual")), "spread": "0.0100"},
        ],
        "investments": [
            {"ref": "inv", "kind": "non-registered"},
            {"ref": "plain", "kind": "non-registered"},
            {"ref": "shelter", "kind": "tfsa"},
        ],
        "prime": _prime(dice, date(2018, 1, 1), 3),
        "plan": {
            "starts": starts.isoformat(),
            "months": 42,
            "opening": opening,
            "prime": _prime(dice, starts + timedelta(days=dice.choice((0, 40))), 5),
            "renewals": [
                {
                    "mortgage": dice.choice(("m-a", "m-b")),
                    "on": (starts + timedelta(days=dice.randrange(0, 1000))).isoformat(),
                    "rate": "0.0415",
                }
            ],
            "reborrow": {
                "share": dice.choice(("1", "0.5", "0.3333")),
                "line": dice.choice(("l-a", "l-b")),
                "into": dice.choice(("inv", "plain")),
                "opening_draw": "0.00",
                "reserve": dice.choice(("0.00", "2500.00")),
            },
            "line_interest": dice.choice(("from-cash", "from-line", "from-line")),
            "investment": {
                "growth": f"{dice.uniform(-0.2, 0.1):.4f}",
                "yields": {"eligible_dividend": "0.025", "return_of_capital": "0.0612"},
                "distributions": route,
            },
            "refund": dice.choice(("prepay", "invest", "keep")),
            "refund_month": dice.randrange(1, 13),
            "marginal": {
                "ordinary": "0.4341",
                "eligible_dividend": "0.2538",
                "other_dividend": "0.3625",
                "interest": "0.4341",
                "foreign": "0.4341",
                "capital_gain": "0.2171",
            },
            "extras": [
                {
                    "on": (starts + timedelta(days=dice.randrange(0, 1250))).isoformat(),
                    "amount": "4000.01",
                }
                for _ in range(3)
            ],
        },
    }
    if dice.random() < 0.6:
        data["plan"]["dam"] = {
            "kind": dice.choice(("rental", "business")),
            "receipts": "2400.00",
            "expenses": dice.choice(("900.00", "3100.55")),
        }
    if dice.random() < 0.2:
        data["plan"]["reborrow"] = None
        data["plan"]["refund"] = "prepay"
    return household_from_json(data, f"walk {seed}"), openings


@pytest.mark.parametrize("seed", range(SEEDS))
def test_every_row_agrees_to_the_cent(seed: int) -> None:
    household, openings = complicated(seed)
    traced = {
        ref: OpeningClasses(*classes, tuple(targets.items()))
        for ref, (classes, targets) in openings.items()
    }
    got = run_plan(household, traced).rows
    want = walk(household, openings)
    assert len(got) == len(want) == 42
    for row, expected in zip(got, want, strict=True):
        assert row.month == expected["month"]
        ours = {key: getattr(row, key) for key in ROW_KEYS}
        assert ours == {key: expected[key] for key in ROW_KEYS}, f"{household.ref} {row.month}"


def test_the_lot_reaches_the_rare_branches() -> None:
    """Negative principal, refused cash, interest paid late, damming and conversions all occur."""
    seen: set[str] = set()
    for seed in range(SEEDS):
        household, openings = complicated(seed)
        traced = {
            ref: OpeningClasses(*classes, tuple(targets.items()))
            for ref, (classes, targets) in openings.items()
        }
        for row in run_plan(household, traced).rows:
            seen |= {
                name
                for name, holds in (
                    ("negative principal", row.principal < 0),
                    ("refused", row.refused > 0),
                    ("interest unpaid", row.line_interest_paid < row.line_interest),
                    ("dam", row.dam_draw > 0),
                    ("owed refund", row.refund < 0),
                    ("paid off", row.mortgage_closing == 0),
                    ("room short", row.room == 0),
                )
                if holds
            }
    assert seen == {
        "negative principal", "refused", "interest unpaid", "dam", "owed refund", "paid off",
        "room short",
    }  # fmt: skip
