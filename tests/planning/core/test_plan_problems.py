"""Plans that cannot run: every fault at once, with the place of each."""

from __future__ import annotations

from typing import Any

import pytest

from config.problems import BadInput
from planning.core.plan import run_plan
from planning.core.plan_problems import plan_problems
from tests.planning.core.plan_cases import household, plan

TERM = "mortgages.0.terms.0"
FIXED = {"starts": "2024-12-15", "matures": "2029-12-15", "kind": "fixed", "rate": "0.06"}


def wheres(change: dict[str, Any]) -> list[str]:
    """The places of the faults; each has a message and a remedy and stops the plan."""
    one = household(change)
    found = plan_problems(one, "alder.json")
    assert all(fault.message and fault.remedy and fault.file == "alder.json" for fault in found)
    if found:
        with pytest.raises(BadInput) as caught:
            run_plan(one, file="alder.json")
        assert caught.value.problems == found
    return [fault.where for fault in found]


def test_a_sound_plan_has_none() -> None:
    assert wheres({}) == []
    assert wheres({"plan": None}) == []


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"plan.starts": "2025-01-02"}, "plan.starts"),
        ({"plan.extras": [{"on": "2026-01-01", "amount": "1.00"}]}, "plan.extras[0].on"),
        ({"plan.extras": [{"on": "2024-12-31", "amount": "1.00"}]}, "plan.extras[0].on"),
        (
            {"mortgages.0.frequency": "semi-monthly", "mortgages.0.first_payment": "2025-01-14"},
            "mortgages[0].first_payment",
        ),
        ({"plan.opening": {"line": "0.00"}}, "plan.opening.mtg"),
        ({"plan.opening": {"mtg": "1.00", "attic": "1.00"}}, "plan.opening.attic"),
        ({"plan.reborrow.line": "inv"}, "plan.reborrow.line"),
        ({"plan.reborrow.into": "line"}, "plan.reborrow.into"),
        ({"investments.0.kind": "tfsa"}, "plan.reborrow.into"),
        ({"plan.reborrow": None, "plan.refund": "invest"}, "plan.refund"),
        (
            {"plan.renewals": [{"mortgage": "mtg", "on": "2024-12-31", "rate": "0.04"}]},
            "plan.renewals[0].on",
        ),
        (
            {"plan.renewals": [{"mortgage": "cabin", "on": "2025-12-31", "rate": "0.04"}]},
            "plan.renewals[0].mortgage",
        ),
        ({"prime": []}, "plan.prime"),
        ({"prime": [["2025-01-02", "0.05"]]}, "plan.prime"),
        ({"lines.0.spread": "-0.0900"}, "lines[0].spread"),
        ({TERM: FIXED | {"payment": "1500.00"}}, f"{'mortgages[0].terms[0].payment'}"),
        ({"plan.reborrow.opening_draw": "350000.01"}, "plan.reborrow.opening_draw"),
    ],
)
def test_one_fault(change: dict[str, Any], where: str) -> None:
    assert wheres(change) == [where]


def test_a_payment_a_cent_above_the_interest_passes() -> None:
    assert wheres({TERM: FIXED | {"payment": "1500.01"}}) == []
    assert wheres({TERM: FIXED | {"rate": "0", "payment": "0.01"}}) == []


def test_the_opening_draw_may_take_all_the_room() -> None:
    """Cap 650,000 less 300,000 owed; the first payment comes later."""
    assert wheres({"plan.reborrow.opening_draw": "350000.00"}) == []


def test_an_amortization_that_is_used_up() -> None:
    change = {
        "mortgages.0.first_payment": "2020-01-15",
        "mortgages.0.amortization_months": 48,
        "mortgages.0.terms": [
            {"starts": "2019-12-15", "matures": "2022-12-15", "kind": "fixed", "rate": "0.05"},
            {"starts": "2022-12-15", "matures": "2027-12-15", "kind": "fixed", "rate": "0.05"},
        ],
    }
    assert wheres(change) == ["mortgages[0].amortization_months"]
    change["mortgages.0.terms"][1]["payment"] = "2000.00"  # type: ignore[index]
    assert wheres(change) == []


def test_an_amortization_shorter_than_the_payments_made() -> None:
    # A payment solved over 48 months lets nothing be owed after 60 of them.
    change = {
        "mortgages.0.first_payment": "2020-01-15",
        "mortgages.0.amortization_months": 48,
        "mortgages.0.terms.0": FIXED | {"starts": "2019-12-15"},
    }
    assert wheres(change) == ["mortgages[0].amortization_months"]
    # One payment more, and the plan still has the last of them to make.
    assert wheres(change | {"mortgages.0.amortization_months": 61}) == []


def test_variable_terms_need_a_prime() -> None:
    variable = {"starts": "2024-12-15", "matures": "2029-12-15", "kind": "static", "spread": "0"}
    change = {TERM: variable, "plan.reborrow": None, "prime": [["2025-01-01", "0.05"]]}
    assert wheres(change) == ["plan.prime"]  # the payment is priced on 2024-12-15
    assert wheres(change | {TERM: variable | {"payment": "2000.00"}}) == []
    assert wheres(change | {TERM: variable | {"spread": "-0.06", "payment": "2000.00"}}) == [
        "mortgages[0].terms[0].spread"
    ]


def test_a_line_nobody_uses_needs_no_prime() -> None:
    assert wheres({"prime": [], "plan.reborrow": None}) == []


def test_damming_needs_a_line() -> None:
    dam = {"kind": "rental", "receipts": "1.00", "expenses": "1.00"}
    assert wheres({"lines": [], "plan.reborrow": None, "plan.dam": dam}) == ["plan.dam"]


def test_all_faults_come_at_once() -> None:
    change = {
        "plan.starts": "2025-01-02",
        "plan.extras": [{"on": "2027-01-01", "amount": "1.00"}],
        "plan.reborrow.into": "line",
        "prime": [],
    }
    assert wheres(change) == [
        "plan.starts", "plan.extras[0].on", "plan.reborrow.into", "plan.prime",
    ]  # fmt: skip


def test_without_rates_or_incomes_the_tax_is_never_silently_zero() -> None:
    with pytest.raises(BadInput) as caught:
        plan({"plan.marginal": None})
    assert any("plan.marginal" in str(fault) for fault in caught.value.problems)
    bare = plan({"plan.marginal": None, "plan.reborrow": None})
    assert [year.saving for year in bare.years] == [0]


def test_a_given_tax_engine_is_called_once_a_year_in_order() -> None:
    calls: list[tuple[int, int, dict[str, int]]] = []

    def tax(year: int, deduction: int, income: Any) -> int:
        calls.append((year, deduction, dict(income)))
        return 12345

    change = {
        "plan.marginal": None,
        "plan.months": 30,
        "plan.opening": {"mtg": "300000.00", "inv": "1200.00"},
        "plan.investment.yields": {"interest": "0.05"},
    }
    result = run_plan(household(change), tax_of_year=tax)
    assert [year for year, _, _ in calls] == [2025, 2026, 2027]
    assert [row.refund for row in result.rows if row.month == "2026-05"] == [12345]
    assert calls[0][1] == result.years[0].deduction > 0
    assert calls[0][2]["interest"] == sum(one.distribution for one in result.rows[:12])
