"""A small household whose plan the tests bend, one thing at a time."""

from __future__ import annotations

from typing import Any

from planning.core.household_file import household_from_json
from planning.core.plan import run_plan
from planning.core.plan_types import PlanResult, PlanRow
from planning.core.types import Household


def data() -> dict[str, Any]:
    """300,000 owed at 6% monthly compounding, room from the first dollar, a plain account."""
    return {
        "format": "towpath/household",
        "version": 1,
        "household": {"ref": "HH-9", "name": "Alder", "province": "ON", "advisor": None},
        "facility": {
            "lender_value": "1000000.00",
            "registered_limit": "800000.00",
            "line_cap": "650000.00",
        },
        "mortgages": [
            {
                "ref": "mtg",
                "original_principal": "300000.00",
                "first_payment": "2025-01-15",
                "amortization_months": 300,
                "compounding": "monthly",
                "prepayment_privilege": "0.10",
                "terms": [
                    {"starts": "2024-12-15", "matures": "2029-12-15", "kind": "fixed",
                     "rate": "0.06", "payment": "2000.00"}
                ],
            }
        ],
        "lines": [{"ref": "line", "spread": "0.0050"}],
        "investments": [{"ref": "inv", "kind": "non-registered"}],
        "prime": [["2020-01-01", "0.0680"]],
        "plan": {
            "starts": "2025-01-01",
            "months": 12,
            "opening": {"mtg": "300000.00"},
            "reborrow": {"share": "1", "line": "line", "into": "inv"},
            "line_interest": "from-cash",
            "investment": {"growth": "0", "yields": {}, "distributions": "cash"},
            "refund": "keep",
            "refund_month": 5,
            "marginal": {"ordinary": "0.40", "eligible_dividend": "0.25", "other_dividend": "0.36",
                         "interest": "0.40", "foreign": "0.40", "capital_gain": "0.20"},
        },
    }  # fmt: skip


def household(change: dict[str, Any] | None = None) -> Household:
    """The household after changes given by path: {"plan.months": 3, "mortgages.0.terms.0...": }."""
    document = data()
    for path, value in (change or {}).items():
        place: Any = document
        *parents, last = path.split(".")
        for step in parents:
            place = place[int(step)] if step.isdigit() else place.setdefault(step, {})
        if last.isdigit():
            place.insert(int(last), value) if int(last) == len(place) else place.__setitem__(
                int(last), value
            )
        else:
            place[last] = value
    return household_from_json(document, "alder.json")


def plan(change: dict[str, Any] | None = None, **more: Any) -> PlanResult:
    """The plan of the changed household."""
    return run_plan(household(change), **more)


def row(result: PlanResult, month: str) -> PlanRow:
    """The row of a month."""
    return next(one for one in result.rows if one.month == month)
