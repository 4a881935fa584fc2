"""The yearly deduction columns of a Québec claimant: limited to the investment income
on file, the rest carried; the same household elsewhere is not limited."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from ledger.core.deductions import DeductionYear, deduction_years
from ledger.core.provincial import known_distributions
from ledger.core.report import deduction_json
from ledger.core.tracing import trace
from planning.core.household_file import household_from_json
from planning.core.months import last_day
from planning.core.tax.engine import Income, tax
from planning.core.tax.parameters import parameters
from planning.core.types import Household
from tests.ledger.core.builders import household

LINE = """
2025-01-01 draw 200000.00 invest
2025-12-31 interest 12000.00
2025-12-31 repayment 12000.00
2026-12-31 interest 12000.00
2026-12-31 repayment 12000.00
"""


def paid(id_: str, day: str, amount: str, of: str, how: str = "cash") -> dict[str, Any]:
    """A distribution of the account."""
    return {"id": id_, "date": day, "kind": "distribution", "amount": amount, "of": of, "paid": how}


FIVE_THEN_FIFTEEN = [
    paid("d1", "2025-06-30", "2000.00", "interest"),
    paid("d2", "2025-06-30", "3000.00", "foreign", "reinvested"),
    paid("d3", "2026-06-30", "10000.00", "eligible_dividend", "reinvested"),
    paid("d4", "2026-06-30", "2400.00", "capital_gain"),
    paid("d5", "2026-07-31", "9999.00", "return_of_capital"),
]


def story(province: str, *, owners: tuple[str, ...] = ("m1",)) -> Household:
    """Two years of 12,000 of eligible interest paid."""
    found = household(LINE, FIVE_THEN_FIFTEEN, ends="2026-12-31")
    member = replace(found.members[0], province=province, income=((2025, 12000000),))
    investments = tuple(replace(one, owners=owners) for one in found.investments)
    other = replace(member, ref="m2")
    return replace(found, members=(member, other), investments=investments)


def years_of(found: Household, through: str = "2026-12") -> tuple[DeductionYear, ...]:
    return deduction_years(found, trace(found, last_day(through)), through)


def test_the_provincial_column_stops_at_the_income_on_file_and_carries_the_rest() -> None:
    """TP-1 lines 231, 252, 260: 12,000 against 5,000, then against 10,000 x 1.38 + 2,400 / 2
    = 15,000 (a return of capital is no income): 7,000 carried, 3,000 used, 4,000 left."""
    first, second = years_of(story("QC"))
    assert (first.federal, first.provincial, first.pool) == (1200000, 500000, 700000)
    assert (second.federal, second.provincial, second.pool) == (1200000, 1500000, 400000)
    assert deduction_json(first)["pool"] == "7000.00"


def test_elsewhere_both_columns_are_the_deductible_amount() -> None:
    for one in years_of(story("ON")):
        assert one.federal == one.provincial == one.deductible == 1200000
        assert one.pool is None
        assert "pool" not in deduction_json(one)


def test_a_joint_account_counts_by_the_owners_shares() -> None:
    first, _ = years_of(story("QC", owners=("m1", "m2")))
    assert (first.provincial, first.pool) == (250000, 950000)
    strangers, _ = years_of(story("QC", owners=("m2",)))
    assert (strangers.provincial, strangers.pool) == (0, 1200000)


def test_only_what_is_posted_by_the_month_counts() -> None:
    found = story("QC")
    assert known_distributions(found, "m1", date(2025, 6, 29)) == {}
    assert known_distributions(found, "m1", date(2025, 6, 30)) == {
        2025: Income(interest_cents=500000)
    }


def test_income_of_registered_accounts_is_not_investment_income() -> None:
    found = story("QC")
    sheltered = replace(
        found, investments=tuple(replace(one, kind="tfsa") for one in found.investments)
    )
    assert known_distributions(sheltered, "m1", date(2026, 12, 31)) == {}


@pytest.mark.parametrize("flat", [None, "0.4571"])
def test_the_saving_shows_what_quebec_holds_back(flat: str | None) -> None:
    """Without flat rates: the return with the distributions, less the same return with
    the claim and the pool. Flat rates are the firm's own and are taken as given."""
    found = with_plan(story("QC"), flat)
    first, second = years_of(found)
    if flat is not None:
        assert first.tax_saving == second.tax_saving == round(0.4571 * 1200000)
        return
    law = parameters(2025)
    received = Income(12000000, interest_cents=500000)
    claimed = replace(received, deduction_cents=1200000)
    expected = tax(law, "QC", received).total_cents - tax(law, "QC", claimed).total_cents
    assert first.tax_saving == expected
    # 12,000 federally at 26 % x 0.835 and 20.5 % x 0.835, 5,000 at home at 24 %.
    assert expected < 0.835 * 0.26 * 1200000 + 0.24 * 500000 + 1
    assert second.tax_saving > first.tax_saving


def with_plan(found: Household, flat: str | None) -> Household:
    """The household with a plan, with or without flat rates."""
    from tests.planning.core.plan_cases import data

    document = data()
    document["plan"]["marginal"] = flat and {**document["plan"]["marginal"], "ordinary": flat}
    document["plan"]["inflation"] = "0"
    plan = household_from_json(document, "plan").plan
    rich = tuple(replace(one, income=((2025, 12000000),)) for one in found.members)
    return replace(found, members=rich, plan=plan)
