"""Replays of history: one worked by hand, the summary, what a replay may not do."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from planning.core.history import Replay, history, replay, start_months, summary
from planning.core.history_household import household_in, market_of
from planning.core.market_series import market_months
from planning.core.months import months_between
from planning.core.plan import run_plan
from planning.core.plan_investment import Assumptions
from planning.core.plan_types import PlanResult
from tests.planning.core.plan_cases import household

ZERO = Decimal(0)


def stretch_from(start: str, months: int):
    first = next(index for index, one in enumerate(market_months()) if one.month == start)
    return market_months()[first - 1 : first + months]


def played(start: str, months: int, change=None, discount=ZERO, fee=ZERO) -> PlanResult:
    one = household({"plan.months": months, **(change or {})})
    stretch = stretch_from(start, months)
    assert one.plan is not None
    return run_plan(household_in(one, stretch, discount), market=market_of(one.plan, stretch, fee))


# Worked by hand. Known when January 1982 began (December 1981): mortgages 17.79%,
# prime 17.25%; when February began: prime 16.50%, yield 4.92%. The index closed at
# 1,786.91 in January and 1,671.34 in February.
#   payment of 300,000 over 300 months at 17.79% / 12          4,501.96
#   15 January: interest 4,447.50, principal 54.46, all re-borrowed and invested
#   31 January: line 54.46 x 17.75% x 16 / 365 = 0.42, from cash
#   15 February: interest 4,446.69, principal 55.27, all re-borrowed
#   28 February: (54.46 x 17.75% x 1 + 54.46 x 17.00% x 14 + 109.73 x 17.00% x 13) / 365 = 1.05
#   28 February: 54.46 x (1671.34 / 1786.91 - 1) = -3.52; 54.46 x 0.0492 / 12 = 0.22 in cash
#   portfolio 54.46 - 3.52 + 55.27 = 106.21 against a line of 109.73: 3.52 below it
# The ordinary mortgage invests 0.42 and 0.83 instead and has 1.22; prepaying them keeps 1.25.
# A loss saves no tax. -3.52 - 1.22 = -4.74 and -3.52 - 1.25 = -4.77; consumer prices went
# from 51.8 to 52.8, so -4.77 is -4.68 in the dollars of the start.
def test_two_months_of_1982_by_hand():
    assert replay(household({"plan.months": 2}), "1982-01") == Replay(
        start="1982-01",
        end="1982-02",
        lead_over_ordinary=-4_74,
        lead_over_prepayments=-4_77,
        real_lead_over_prepayments=-4_68,
        below=3_52,
        below_on="1982-02",
        prime_derived=False,
        yield_assumed=False,
    )
    first, second = played("1982-01", 2).rows
    assert (first.payment, first.interest, first.principal) == (4_501_96, 4_447_50, 54_46)
    assert (first.growth, first.line_interest, first.draw) == (0, 42, 54_46)
    assert (second.interest, second.growth, second.distribution) == (4_446_69, -3_52, 22)
    assert (second.line_interest, second.portfolio_closing) == (1_05, 106_21)


def test_a_fixed_mortgage_renews_every_five_years_at_the_rate_known_then():
    rates = []
    for payment in played("1977-01", 121).payments:
        if not rates or rates[-1][1] != payment.rate:
            rates.append((payment.date.isoformat(), payment.rate))
    by_month = {one.month: one.mortgage_average for one in market_months()}
    # Interest is paid in arrears: the payment after the due date still has the old rate.
    assert rates == [
        ("2025-01-15", by_month["1976-12"]),
        ("2030-02-15", by_month["1981-12"]),
    ]
    assert by_month["1981-12"] == Decimal("0.1779")


def test_a_discount_lowers_the_contract_rate_and_a_fee_the_growth():
    cheap = played("1982-01", 2, discount=Decimal("0.0100"), fee=Decimal("0.0240"))
    assert cheap.payments[0].rate == Decimal("0.1679")
    # February's growth also loses 0.2%, a twelfth of the fee.
    opening = cheap.rows[0].portfolio_closing
    kept = Decimal("1671.34") / Decimal("1786.91") * (1 - Decimal("0.0240") / 12) - 1
    assert cheap.rows[1].growth == round(opening * kept)


def test_a_mortgage_that_follows_prime_keeps_its_spread():
    change = {
        "mortgages.0.terms.0": {
            "starts": "2024-12-15",
            "matures": "2029-12-15",
            "kind": "adjustable",
            "spread": "-0.0050",
        }
    }
    first, second = played("1982-01", 2, change).payments
    assert (first.rate, second.rate) == (Decimal("0.1675"), Decimal("0.1600"))
    assert second.payment < first.payment


def test_a_mortgage_under_way_is_solved_on_what_is_owed():
    change = {
        "mortgages.0.first_payment": "2015-01-15",
        "mortgages.0.terms.0.starts": "2014-12-15",
        "plan.opening.mtg": "200000.00",
        "plan.months": 180,
    }
    result = played("1982-01", 180, change)
    assert result.payments[0].rate == Decimal("0.1779")
    assert result.rows[-1].mortgage_closing == 0
    assert result.rows[-2].mortgage_closing > 0


def test_starts_run_from_february_1956_to_the_last_with_a_whole_horizon():
    starts = start_months(300)
    assert (starts[0], starts[-1], len(starts)) == ("1956-02", "1998-01", 504)
    assert start_months(10_000) == ()


def test_the_opening_portfolio_meets_history_too():
    one = household({"plan.months": 12, "plan.opening.inv": "10000.00"})
    plan = one.plan
    assert plan is not None
    stretch = stretch_from("2008-01", 12)
    result = run_plan(
        household_in(replace(one, plan=replace(plan, reborrow=None)), stretch, ZERO),
        market=market_of(plan, stretch, ZERO),
    )
    # Price alone, 13,833.06 to 8,987.70: -35.03%, but for the cents of twelve months.
    assert abs(result.rows[-1].portfolio_closing - 6_497_26) <= 6


def test_the_history_of_a_household_adds_up():
    shown = history(household({"plan.months": 120}), every=60)
    starts = shown["starts"]
    assert isinstance(starts, list)
    leads = [Decimal(one["lead_over_prepayments"]) for one in starts]
    said = shown["summary"]
    assert isinstance(said, dict)
    assert [one["ended_behind"] for one in starts] == [lead < 0 for lead in leads]
    behind = sum(lead < 0 for lead in leads)
    assert 0 < behind < len(leads)
    assert Decimal(said["behind_prepayments"]) == round(Decimal(behind) / len(leads), 4)
    assert Decimal(said["worst"]["lead_over_prepayments"]) == min(leads)
    assert shown["assumptions"]["prime_before_1975"] == "derived: Bank Rate + 0.0150"
    assert shown["cautions"]


def test_the_median_of_an_even_count_is_the_mean_of_the_middle_two():
    def with_lead(lead: int) -> Replay:
        return Replay("1990-01", "1990-12", lead, lead, lead, 0, None, False, False)

    said = summary([with_lead(lead) for lead in (5, -3, 100, 8)])
    assert said["median"]["lead_over_prepayments"] == "0.07"
    assert said["behind_prepayments"] == "0.2500"
    assert said["worst"]["lead_over_prepayments"] == "-0.03"


def test_what_cannot_be_replayed_is_refused():
    one = household({"plan.months": 300})
    with pytest.raises(ValueError, match="no 300 months of history follow '1999-01'"):
        replay(one, "1999-01")
    without = replace(one, plan=None)
    with pytest.raises(ValueError, match="no plan"):
        replay(without, "1990-01")
    assert history(without) == {}
    assert history(one, months=804) == {}


def test_a_market_path_of_the_constant_returns_changes_nothing():
    change = {
        "plan.investment.growth": "0",
        "plan.investment.yields": {"eligible_dividend": "0.03"},
    }
    one = household(change)
    assert one.plan is not None
    usual = Assumptions(one.plan.investment).month("2025-01")
    same = dict.fromkeys(months_between("2025-01", "2025-12"), usual)
    assert run_plan(one, market=same) == run_plan(one)
