"""A household's tax of a year: who deducts, who reports, Québec's pool, the screen."""

from __future__ import annotations

from typing import Any

import pytest

from config.problems import BadInput
from planning.core.tax.amt import household_screen
from planning.core.tax.engine import Income, tax
from planning.core.tax.household import HouseholdTax, household_tax
from planning.core.tax.parameters import known_years, parameters
from tests.planning.core.plan_cases import household


def taxed(provinces: dict[str, str], **change: Any) -> HouseholdTax:
    """The engine of a household: members by province, each on 180,000 from 2025 on."""
    members = [
        {"ref": ref, "name": ref, "province": province, "income": {"2025": "180000.00"}}
        for ref, province in provinces.items()
    ]
    found = household({"members": members, "plan.marginal": None, "plan.inflation": "0", **change})
    return household_tax(found, "alder.json")


def test_the_saving_is_tax_before_less_tax_after_across_brackets() -> None:
    found = taxed({"m1": "ON"})
    law = parameters(2025)
    before = tax(law, "ON", Income(ordinary_cents=18000000))
    after = tax(law, "ON", Income(ordinary_cents=18000000, deduction_cents=9000000))
    assert found(2025, 9000000, {}) == before.total_cents - after.total_cents
    # Far from deduction x one marginal rate of 48.28 %.
    assert found(2025, 9000000, {}) < 0.45 * 9000000


def test_the_claimant_deducts_and_the_owners_report_in_equal_shares() -> None:
    change = {
        "investments": [{"ref": "inv", "kind": "non-registered", "owners": ["m1", "m2"]}],
        "lines": [{"ref": "line", "spread": "0.0050", "claimant": "m2"}],
    }
    found = taxed({"m1": "ON", "m2": "ON"}, **change)
    incomes = {
        member.ref: income
        for member, _, income in found.incomes(2025, 500000, {"interest": 100001})
    }
    assert incomes["m1"] == Income(18000000, interest_cents=50001)
    assert incomes["m2"] == Income(18000000, interest_cents=50000, deduction_cents=500000)


def test_quebecs_pool_is_carried_from_call_to_call() -> None:
    found = taxed({"m1": "QC"})
    law = parameters(2025)
    first = found(2025, 1200000, {"interest": 500000})
    assert found.pools == {"m1": 700000}
    without = tax(law, "QC", Income(18000000))
    limited = tax(law, "QC", Income(18000000, interest_cents=500000, deduction_cents=1200000))
    assert first == without.total_cents - limited.total_cents
    found(2026, 1200000, {"interest": 1500000})
    assert found.pools == {"m1": 400000}


def test_the_screen_of_a_household_looks_at_every_member() -> None:
    found = taxed({"m1": "BC", "m2": "BC"})
    # The claimant alone owns an account without owners: a gain of 1,500,000 at once.
    got = household_screen(found, 2026, 2000000, {"capital_gain": 150000000})
    assert set(got) == {"m1", "m2"}
    assert got["m1"].triggered
    assert got["m1"].adjusted == 18000000 + 150000000 - 1000000
    assert (got["m2"].excess, got["m2"].provincial) == (0, 0)
    assert got["m1"].provincial is not None


def test_no_minimum_tax_is_projected_beyond_known_law() -> None:
    with pytest.raises(BadInput, match="not on file"):
        household_screen(taxed({"m1": "ON"}), known_years()[-1] + 1, 0, {})
