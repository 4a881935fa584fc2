"""The plan's rules one by one, with figures small enough to check by hand."""

from __future__ import annotations

from dataclasses import fields
from datetime import date
from decimal import Decimal

import pytest

from config.problems import BadInput
from planning.core.flat_tax import flat_saving_cents
from planning.core.plan import run_plan
from planning.core.plan_types import ROW_KEYS, OpeningClasses, PlanRow, row_json
from planning.core.types import MarginalRates
from tests.planning.core.plan_cases import household, plan, row

TERMS = "mortgages.0.terms"


def test_the_first_month() -> None:
    """300,000 x 0.5% = 1,500.00; 500.00 is principal, is drawn, and carries 16 nights at 7.3%."""
    first = plan().rows[0]
    assert (first.payment, first.interest, first.principal) == (200000, 150000, 50000)
    assert (first.room_freed, first.draw, first.contribution) == (50000, 50000, 50000)
    # 500.00 x 0.073 x 16/365 = 1.60, nights of the 15th to the 30th
    assert (first.line_interest, first.line_interest_paid, first.deductible) == (160, 160, 160)
    assert (first.line_closing, first.eligible) == (50000, 50000)
    assert first.limit == 65000000 - 29950000  # the cap at 65% binds, not the 800,000
    assert first.room == first.limit - 50000


def test_the_night_of_a_posting_day_belongs_to_the_next_posting() -> None:
    """January 31 to February 27: 500.00 for 28 nights, and the 502.50 of the 15th for 13."""
    second = plan().rows[1]
    assert second.principal == 50250
    assert second.line_interest == 280 + 131  # 2.80 + 1.3065 = 4.1065


def test_the_row_has_the_reports_keys_as_decimal_strings() -> None:
    shown = row_json(plan().rows[0])
    assert next(iter(shown)) == "month"
    assert list(shown)[1:] == list(ROW_KEYS)
    assert shown["draw"] == "500.00"
    assert {one.name for one in fields(PlanRow)} == {"month", *ROW_KEYS}


def test_no_plan_is_an_empty_result() -> None:
    assert plan({"plan": None}).rows == ()


def test_stopping_early_gives_the_same_months() -> None:
    assert run_plan(household(), months=3).rows == plan().rows[:3]


# -- share, reserve, opening draw --------------------------------------------------


def test_a_share_of_the_room_is_rounded_half_up() -> None:
    assert plan({"plan.reborrow.share": "0.333"}).rows[0].draw == 16650
    assert plan({"plan.reborrow.share": "0.00001"}).rows[0].draw == 1  # 0.5 of a cent


def test_the_reserve_is_kept_and_the_opening_draw_respects_it() -> None:
    changed = plan(
        {
            "facility.registered_limit": "300700.00",
            "plan.reborrow.opening_draw": "600.00",
            "plan.reborrow.reserve": "250.00",
        }
    )
    assert [(one.kind, one.amount) for one in changed.draws[:2]] == [
        ("opening", 45000),
        ("reborrow", 50000),
    ]
    assert changed.rows[0].room == 25000


def test_an_opening_draw_above_the_room_is_refused() -> None:
    with pytest.raises(BadInput, match="opening_draw"):
        plan({"facility.registered_limit": "300700.00", "plan.reborrow.opening_draw": "700.01"})


def test_an_opening_draw_counts_on_the_principal_paid_that_day() -> None:
    change = {
        "facility.registered_limit": "300700.00",
        "mortgages.0.first_payment": "2025-01-01",
        "plan.reborrow.opening_draw": "1200.00",
    }
    first = plan(change).rows[0]
    assert first.draw == 120000
    with pytest.raises(BadInput, match="opening_draw"):
        plan(change | {"plan.reborrow.opening_draw": "1200.01"})


# -- the amortising excess ----------------------------------------------------------


def test_above_the_cap_principal_frees_nothing_until_the_excess_is_gone() -> None:
    """Cap 299,000: 1,000 must amortise; two payments of 500.00 and 502.50 nearly do it."""
    result = plan({"facility.lender_value": "460000.00", "facility.line_cap": "299000.00"})
    assert [one.room_freed for one in result.rows[:3]] == [0, 250, 50501]
    assert [one.draw for one in result.rows[:3]] == [0, 250, 50501]
    assert [one.to_excess for one in result.payments[:3]] == [50000, 50000, 0]


def test_room_freed_counts_whatever_the_limit_allows() -> None:
    frozen = plan({"facility.registered_limit": "299000.00"}).rows[0]
    assert (frozen.room_freed, frozen.draw, frozen.room, frozen.limit) == (50000, 0, 0, 0)


# -- refund, distributions, extras ---------------------------------------------------

TWO_YEARS = {"plan.months": 24, "plan.refund": "prepay"}


def test_the_refund_is_prepaid_on_the_first_payment_date_of_its_month() -> None:
    result = plan(TWO_YEARS)
    saving = result.years[0].saving
    assert saving == flat_saving_cents(
        MarginalRates(Decimal("0.40"), ()), result.years[0].deduction, {}
    )
    may = row(result, "2026-05")
    assert may.refund == may.prepayment == saving > 0
    assert may.room_freed == may.principal + saving
    assert [one.date for one in result.payments if one.prepayment] == [date(2026, 5, 15)]
    assert all(one.refund == 0 for one in result.rows if one.month != "2026-05")


def test_an_invested_refund_is_own_money() -> None:
    result = plan(TWO_YEARS | {"plan.refund": "invest"})
    may = row(result, "2026-05")
    assert may.contribution == may.draw + may.refund
    assert may.prepayment == 0
    assert result.closing is not None
    assert dict(result.closing.targets)["inv"] == result.rows[-1].eligible


def test_tax_owed_is_shown_negative_and_paid_from_cash() -> None:
    change = TWO_YEARS | {
        "plan.opening": {"mtg": "300000.00", "inv": "100000.00"},
        "plan.investment.yields": {"interest": "0.05"},
    }
    may = row(plan(change), "2026-05")
    assert may.refund < 0
    assert (may.prepayment, may.refused) == (0, 0)


def test_after_the_mortgage_is_gone_a_refund_is_refused_cash() -> None:
    """19,000 at 2,000 a month is paid in the tenth month; May 2026 has no payment date."""
    change = TWO_YEARS | {"plan.opening": {"mtg": "19000.00"}}
    result = plan(change)
    may = row(result, "2026-05")
    assert may.mortgage_opening == 0
    assert (may.refund, may.refused, may.prepayment) == (may.refund, may.refund, 0)
    assert may.refund > 0
    invested = row(plan(change | {"plan.refund": "invest"}), "2026-05")
    assert invested.contribution == invested.refund > 0


def test_held_distributions_are_spent_on_the_next_payment_date() -> None:
    """100,000 at 2.5%: 208.33 on January 31 (exactly 208.333...), prepaid on February 15."""
    result = plan({
        "plan.opening": {"mtg": "300000.00", "inv": "100000.00"},
        "plan.investment": {
            "growth": "0", "yields": {"eligible_dividend": "0.025"}, "distributions": "prepay",
        },
    })  # fmt: skip
    assert result.rows[0].distribution == 20833
    assert result.rows[0].prepayment == 0
    assert result.rows[1].prepayment == 20833
    assert result.rows[1].draw == result.rows[1].principal + 20833
    assert result.closing is not None
    assert result.closing.held_cash == result.rows[-1].distribution


def test_extras_fall_on_their_own_date_and_the_privilege_refuses_the_rest() -> None:
    result = plan(
        {
            "plan.extras": [
                {"on": "2025-02-03", "amount": "29000.00"},
                {"on": "2025-03-03", "amount": "1500.00"},
            ],
        }
    )
    assert result.rows[1].prepayment == 2900000
    # The prepayment inside the period lowers the whole period's interest.
    assert result.rows[1].interest == round((29950000 - 2900000) * 0.005)
    march = row(result, "2025-03")
    assert (march.prepayment, march.refused) == (100000, 50000)


def test_a_new_calendar_year_brings_a_new_privilege() -> None:
    result = plan(
        {
            "plan.months": 14,
            "plan.extras": [
                {"on": "2025-12-31", "amount": "30000.00"},
                {"on": "2026-01-01", "amount": "30000.01"},
            ],
        }
    )
    assert row(result, "2025-12").prepayment == 3000000
    assert (row(result, "2026-01").prepayment, row(result, "2026-01").refused) == (3000000, 1)


def test_a_prepayment_goes_to_the_mortgages_in_listing_order() -> None:
    second = household().mortgages[0]
    change = {
        "mortgages.1": {
            "ref": "cabin", "original_principal": "50000.00", "first_payment": "2025-01-20",
            "amortization_months": 120, "prepayment_privilege": "0.20",
            "terms": [{"starts": "2024-12-20", "matures": "2029-12-20", "kind": "fixed",
                       "rate": "0.05"}],
        },
        "plan.opening": {"mtg": "300000.00", "cabin": "50000.00"},
        "plan.extras": [{"on": "2025-02-03", "amount": "45000.00"}],
    }  # fmt: skip
    result = plan(change)
    taken = [(one.mortgage, one.prepayment) for one in result.payments if one.prepayment]
    assert taken == [(second.ref, 3000000), ("cabin", 1000000)]
    assert row(result, "2025-02").refused == 500000


# -- growth, return of capital --------------------------------------------------------


def test_growth_is_the_price_change_and_distributions_come_on_top() -> None:
    """12% a year is 0.9488793% a month; contributions of the month do not grow."""
    result = plan({
        "plan.opening": {"mtg": "300000.00", "inv": "10000.00"},
        "plan.investment": {
            "growth": "0.12", "yields": {"interest": "0.06"}, "distributions": "reinvest",
        },
    })  # fmt: skip
    first = result.rows[0]
    assert (first.growth, first.distribution) == (9489, 5000)
    assert first.portfolio_closing == 1000000 + 50000 + 9489 + 5000


def test_a_distribution_tie_is_rounded_up() -> None:
    """2.40 x 0.025 / 12 = 0.005, half a cent exactly."""
    result = plan({
        "plan.opening": {"mtg": "300000.00", "inv": "2.40"},
        "plan.investment": {
            "growth": "0", "yields": {"interest": "0.025"}, "distributions": "cash",
        },
    })  # fmt: skip
    assert result.rows[0].distribution == 1


def test_return_of_capital_paid_out_moves_the_borrowed_part() -> None:
    """Own 1,500, borrowed 500: a quarter of the capital returned loses its use."""
    change = {
        "plan.opening": {"mtg": "300000.00", "inv": "1500.00"},
        "plan.investment": {
            "growth": "0", "yields": {"return_of_capital": "0.12"}, "distributions": "cash",
        },
    }  # fmt: skip
    first = plan(change).rows[0]
    assert first.distribution == 1500
    assert (first.eligible, first.ineligible) == (50000 - 375, 375)
    change["plan.investment"] = dict(change["plan.investment"], distributions="reinvest")
    kept = plan(change).rows[0]
    assert (kept.eligible, kept.ineligible) == (50000, 0)


# -- line interest ---------------------------------------------------------------------

FROM_LINE = {"plan.line_interest": "from-line"}


def test_interest_is_drawn_on_the_first_of_the_next_month() -> None:
    result = plan(FROM_LINE)
    first, second = result.rows[:2]
    assert (first.line_interest, first.line_interest_paid, first.deductible) == (160, 0, 0)
    assert first.line_closing == 50160
    assert (second.interest_draw, second.line_interest_paid, second.deductible) == (160, 160, 160)
    assert next(one.date for one in result.draws if one.kind == "interest") == date(2025, 2, 1)
    assert second.line_closing == 50160 + second.draw + second.line_interest
    assert result.closing is not None
    assert dict(result.closing.targets)["interest"] == sum(
        one.amount for one in result.draws if one.kind == "interest"
    )


def test_without_room_interest_waits_and_is_tried_every_day_room_is_left() -> None:
    """Room of 0.51 a day pays 1.59 in four days: 0.51, 0.51, 0.51, 0.06."""
    result = plan(
        FROM_LINE
        | {
            "facility.registered_limit": "300000.00",
            "plan.reborrow.share": "0.9958",  # leaves 2.10, 0.51 after interest
        }
    )
    drawn = [(one.date.day, one.amount) for one in result.draws if one.kind == "interest"][:4]
    assert result.rows[0].room == 51
    assert drawn == [(1, 51), (2, 51), (3, 51), (4, 6)]


def test_paid_by_advance_pays_on_the_day_of_posting() -> None:
    result = plan(FROM_LINE | {"facility.capitalised_interest": "paid-by-advance"})
    first = result.rows[0]
    assert first.interest_draw == first.line_interest_paid == first.line_interest == 160
    assert (first.deductible, first.line_closing) == (160, 50160)


def test_payable_deducts_simple_interest_on_posting_and_compound_when_paid() -> None:
    """The 1.60 posted in January waits for the room that February 15 brings.

    Room then is 1,002.50 - 501.60 = 500.90: it pays the 1.60 and is re-borrowed.
    February: 0.073/365 x (501.60 x 15 + 1,002.50 x 13) = 4.11, of which the
    interest on the unpaid 1.60 is less than half a cent.
    """
    change = FROM_LINE | {
        "facility.interest_method": "payable",
        "facility.registered_limit": "300000.00",
    }
    result = plan(change)
    first, second = result.rows[:2]
    assert (first.room, first.line_interest, first.deductible) == (0, 160, 160)
    assert (second.interest_draw, second.draw) == (160, 50090)
    assert (second.line_interest, second.deductible) == (411, 411)
    paid = plan(change | {"facility.interest_method": "paid"})
    assert [one.line_interest for one in paid.rows] == [one.line_interest for one in result.rows]
    assert (paid.rows[0].deductible, paid.rows[1].deductible) == (0, 160)


def test_the_deduction_never_passes_the_interest_posted() -> None:
    for method in ("paid", "payable"):
        result = plan(FROM_LINE | {"facility.interest_method": method, "plan.months": 60})
        posted = deducted = 0
        for year in result.years:
            posted += year.posted_eligible
            deducted += year.deduction
            assert deducted <= posted
        assert sum(one.deductible for one in result.rows) == deducted


# -- opening classes ---------------------------------------------------------------------

OPEN = {"plan.opening": {"mtg": "300000.00", "line": "10000.00", "inv": "9000.00"}}


def test_an_opening_balance_without_a_use_is_unsupported() -> None:
    first = plan(OPEN | {"plan.reborrow": None}).rows[0]
    assert (first.eligible, first.unsupported, first.ineligible) == (0, 1000000, 0)
    assert (first.line_interest, first.deductible) == (6000, 0)


def test_a_claimed_opening_with_evidence_is_classed() -> None:
    splits = [
        {"amount": "6000.00", "use": "income-investment", "to": "inv", "evidence": ["a"]},
        {"amount": "1000.00", "use": "rental-expense", "evidence": []},
        {"amount": "3000.00", "use": "personal"},
    ]
    change = OPEN | {"plan.reborrow": None, "uses": [{"draw": "line-opening", "splits": splits}]}
    result = plan(change)
    first = result.rows[0]
    assert (first.eligible, first.unsupported, first.ineligible) == (600000, 100000, 300000)
    assert (first.line_interest, first.deductible) == (6000, 3600)
    splits[0]["amount"] = "5999.99"
    assert plan(change).rows[0].unsupported == 1000000  # the claim no longer adds up


def test_traced_classes_win_when_they_add_up() -> None:
    traced = {"line": OpeningClasses(700000, 0, 300000, (("inv", 700000),))}
    first = plan(OPEN | {"plan.reborrow": None}, opening_classes=traced).rows[0]
    assert (first.eligible, first.ineligible) == (700000, 300000)
    short = {"line": OpeningClasses(600000, 0, 300000, (("inv", 600000),))}
    first = plan(OPEN | {"plan.reborrow": None}, opening_classes=short).rows[0]
    assert first.unsupported == 1000000


# -- damming ------------------------------------------------------------------------------


def test_dammed_receipts_prepay_and_expenses_are_drawn() -> None:
    """Receipts of 2,400 free as much: 900 pays expenses, 1,500 and the principal re-borrow."""
    result = plan({"plan.dam": {"kind": "rental", "receipts": "2400.00", "expenses": "900.00"}})
    first = result.rows[0]
    assert (first.prepayment, first.dam_draw) == (240000, 90000)
    assert first.room_freed == 50000 + 240000
    assert first.draw == 50000 + 150000
    assert first.line_closing == 290000
    assert first.contribution == first.draw
    assert result.closing is not None
    assert dict(result.closing.targets)["rental"] == 12 * 90000


def test_expenses_above_the_receipts_leave_no_room_of_theirs_to_borrow() -> None:
    first = plan(
        {"plan.dam": {"kind": "business", "receipts": "100.00", "expenses": "900.00"}}
    ).rows[0]
    assert (first.draw, first.dam_draw) == (50000, 90000)


# -- terms ---------------------------------------------------------------------------------


def test_the_payment_on_or_after_maturity_is_the_last_at_the_old_rate() -> None:
    change = {
        "plan.renewals": [{"mortgage": "mtg", "on": "2025-03-15", "rate": "0.036"}],
    }
    result = plan(change)
    march, april = row(result, "2025-03"), row(result, "2025-04")
    assert march.interest == round(march.mortgage_opening * 0.005)
    assert april.interest == round(april.mortgage_opening * 0.003)
    assert april.payment != 200000
    assert row(result, "2025-05").payment == april.payment
    earlier = plan({"plan.renewals": [{"mortgage": "mtg", "on": "2025-03-16", "rate": "0.036"}]})
    assert row(earlier, "2025-04").payment == 200000
    assert row(earlier, "2025-05").payment != 200000


def test_without_anything_to_follow_rate_and_payment_go_on() -> None:
    result = plan({f"{TERMS}.0.matures": "2025-03-15"})
    assert {one.payment for one in result.rows} == {200000}


def variable(kind: str, payment: str | None) -> dict[str, object]:
    return {
        f"{TERMS}.0": {"starts": "2024-12-15", "matures": "2029-12-15", "kind": kind,
                       "spread": "-0.008", "payment": payment},
        "plan.prime": [["2025-01-01", "0.068"], ["2025-02-10", "0.05"], ["2025-02-14", "0.092"]],
    }  # fmt: skip


def test_adjustable_payments_are_solved_again_when_the_rate_moves() -> None:
    result = plan(variable("adjustable", "2000.00"))
    rates = [one.rate for one in result.payments]
    assert rates[:3] == [Decimal("0.060"), Decimal("0.084"), Decimal("0.084")]
    assert result.rows[0].payment == 200000
    assert result.rows[1].payment > 230000
    assert {one.payment for one in result.rows[2:]} == {result.rows[1].payment}


def test_static_payments_stand_and_may_run_negative() -> None:
    result = plan(variable("static", "2000.00"))
    second = result.rows[1]
    assert (second.payment, second.interest) == (200000, 209650)
    assert (second.principal, second.room_freed, second.draw) == (-9650, 0, 0)
    assert second.mortgage_closing == second.mortgage_opening + 9650
    assert ["2025-02-15" in text and "covers" in text for text in result.warnings] == [True, False]
    assert "ceiling" in result.warnings[1]


def test_a_later_terms_payment_that_never_pays_is_refused_when_reached() -> None:
    change = {
        f"{TERMS}.0.matures": "2025-03-15",
        f"{TERMS}.1": {"starts": "2025-03-15", "matures": "2030-03-15", "kind": "fixed",
                       "rate": "0.09", "payment": "2000.00"},
    }  # fmt: skip
    with pytest.raises(BadInput, match=r"terms\[1\].payment"):
        plan(change)


def test_the_cents_that_rounding_leaves_join_the_last_payment() -> None:
    result = plan(
        {
            "mortgages.0.amortization_months": 10,
            f"{TERMS}.0.payment": "30829.00",
            "plan.reborrow": None,
        }
    )
    paid = [one.payment for one in result.rows]
    assert paid[9] != 3082900
    assert paid[10] == 0
    assert result.rows[9].mortgage_closing == 0
