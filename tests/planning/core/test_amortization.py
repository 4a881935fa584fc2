"""Payments, schedules and dates; two independent libraries as witnesses."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from fractions import Fraction

import mortgagemath as mm
import numpy_financial as npf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.core.amortization import (
    amount_due,
    contractual_payments,
    interest_cents,
    payment_cents,
    payments_before,
    scheduled_date,
    scheduled_dates,
    trigger_rate,
)
from planning.core.rates import periodic_rate
from planning.core.types import Frequency, Mortgage, Term


def mortgage(first: date, frequency: Frequency = "monthly", months: int = 300) -> Mortgage:
    term = Term(date(2020, 1, 1), date(2030, 1, 1), "fixed", Decimal("0.05"), None, None)
    return Mortgage(
        ref="m",
        original_principal_cents=100,
        first_payment=first,
        amortization_months=months,
        frequency=frequency,
        compounding="semi-annual",
        biweekly_basis="annuity",
        prepayment_privilege=Decimal(0),
        borrowers=(),
        terms=(term,),
    )


def test_a_month_end_schedule_clips_from_its_own_day() -> None:
    dates = scheduled_dates(mortgage(date(2024, 1, 31)), date(2024, 1, 1), date(2024, 5, 31))
    assert [day.day for day in dates] == [31, 29, 31, 30, 31]
    kept = scheduled_dates(mortgage(date(2025, 2, 28)), date(2025, 2, 1), date(2025, 4, 30))
    assert [day.day for day in kept] == [28, 28, 28]


def test_semi_monthly_dates_are_fifteen_days_apart() -> None:
    one = mortgage(date(2025, 2, 13), "semi-monthly")
    dates = scheduled_dates(one, date(2025, 2, 1), date(2025, 3, 31))
    assert dates == (date(2025, 2, 13), date(2025, 2, 28), date(2025, 3, 13), date(2025, 3, 28))


@pytest.mark.parametrize(
    "frequency",
    ["monthly", "semi-monthly", "biweekly", "weekly", "accelerated-biweekly", "accelerated-weekly"],
)
def test_counting_before_a_day_agrees_with_listing(frequency: Frequency) -> None:
    one = mortgage(date(2024, 1, 12), frequency)
    every = scheduled_dates(one, date(2024, 1, 1), date(2026, 12, 31))
    for day in (date(2024, 1, 12), date(2024, 1, 13), date(2025, 2, 28), *every[3:9]):
        count = sum(1 for scheduled in every if scheduled < day)
        assert payments_before(one, day) == count
        assert scheduled_date(one, count) >= day
    assert payments_before(one, date(2020, 1, 1)) == 0


def test_a_fraction_of_a_payment_is_kept() -> None:
    assert contractual_payments(mortgage(date(2025, 1, 1), "biweekly", 290)) == Fraction(1885, 3)
    assert contractual_payments(mortgage(date(2025, 1, 1), "monthly", 290)) == 290


def test_a_tie_goes_away_from_zero() -> None:
    """Interest of exactly half a cent: 1,200.00 x 0.0005/12 = 0.05; 120.00 gives 0.005."""
    tenth = Fraction("0.0005") / 12
    assert interest_cents(12000, tenth) == 1
    assert interest_cents(-12000, tenth) == -1
    assert payment_cents(12001, Decimal(0), "monthly", "monthly", "annuity", Fraction(2)) == 6001


def test_nothing_left_to_spread_over() -> None:
    with pytest.raises(ValueError, match="no payments"):
        payment_cents(100, Decimal("0.05"), "monthly", "monthly", "annuity", Fraction(0))


def test_the_last_payments() -> None:
    assert amount_due(1000, 1500, 299, Fraction(300)) == 1000
    assert amount_due(1000, 1500, 300, Fraction(300)) == 1500
    assert amount_due(1000, 2000, 300, Fraction(300)) == 1000
    assert amount_due(1000, 1999, 301, Fraction(300)) == 1999
    assert amount_due(1000, 400, 12, Fraction(300)) == 400
    assert amount_due(1000, 1500, 628, Fraction(1885, 3)) == 1000
    assert amount_due(1000, 1500, 629, Fraction(1885, 3)) == 1500


def test_a_trigger_rate_needs_a_balance() -> None:
    with pytest.raises(ValueError, match="balance"):
        trigger_rate(100, 0, "monthly", "monthly")


principals = st.integers(1_000_000, 200_000_000)
rates = st.integers(25, 1500).map(lambda points: Decimal(points) / 10_000)


@settings(max_examples=25, deadline=None)
@given(cents=principals, rate=rates, years=st.integers(5, 30))
def test_mortgagemath_gives_the_same_rows(cents: int, rate: Decimal, years: int) -> None:
    """Fixed half-yearly loans, payment rounded half up: every row of every month."""
    loan = mm.LoanParams(
        principal=Decimal(cents) / 100,
        annual_rate=rate * 100,
        term_months=years * 12,
        compounding=mm.Compounding.SEMI_ANNUAL,
        payment_rounding=mm.PaymentRounding.ROUND_HALF_UP,
    )
    n = Fraction(years * 12)
    paying = payment_cents(cents, rate, "semi-annual", "monthly", "annuity", n)
    assert paying == int(mm.periodic_payment(loan) * 100)
    periodic = periodic_rate(rate, "semi-annual", "monthly")
    balance = cents
    for row in mm.amortization_schedule(loan):
        if row.number in (0, years * 12):
            continue  # the last payment's rule is our own
        interest = interest_cents(balance, periodic)
        balance -= paying - interest
        assert interest == int(row.interest * 100)
        assert balance == int(row.balance * 100)


@settings(max_examples=40, deadline=None)
@given(
    cents=principals,
    rate=rates,
    years=st.integers(2, 30),
    compounding=st.sampled_from(["semi-annual", "monthly", "annual"]),
    frequency=st.sampled_from(["monthly", "semi-monthly", "biweekly", "weekly"]),
)
def test_numpy_financial_agrees(
    cents: int, rate: Decimal, years: int, compounding: str, frequency: str
) -> None:
    """Its `pmt` at our period rate, within a floating point's reach of the cent."""
    p = {"monthly": 12, "semi-monthly": 24, "biweekly": 26, "weekly": 52}[frequency]
    periodic = float(periodic_rate(rate, compounding, frequency))  # type: ignore[arg-type]
    expected = -npf.pmt(periodic, years * p, cents)
    ours = payment_cents(cents, rate, compounding, frequency, "annuity", Fraction(years * p))  # type: ignore[arg-type]
    assert abs(ours - expected) <= 0.501
