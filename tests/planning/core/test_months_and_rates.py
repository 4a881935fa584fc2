"""Months as text, rates by period, rates in force."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest

from planning.core.months import (
    first_day,
    last_day,
    month_of,
    months_between,
    next_month,
    shift_month,
)
from planning.core.rates import (
    merged_prime,
    periodic_fraction,
    periodic_rate,
    rate_on,
    root_growth,
)


def test_months() -> None:
    assert month_of(date(2026, 5, 31)) == "2026-05"
    assert first_day("2024-02") == date(2024, 2, 1)
    assert last_day("2024-02") == date(2024, 2, 29)
    assert last_day("2100-02") == date(2100, 2, 28)
    assert next_month("2026-12") == "2027-01"
    assert shift_month("2026-01", -1) == "2025-12"
    assert months_between("2025-11", "2026-02") == ("2025-11", "2025-12", "2026-01", "2026-02")
    assert months_between("2026-02", "2026-01") == ()


@pytest.mark.parametrize("text", ["2026-5", "2026", "2026-13", "26-05", "2026-00", "2026/05"])
def test_text_that_names_no_month(text: str) -> None:
    with pytest.raises(ValueError, match="month"):
        first_day(text)


def test_monthly_compounding_paid_monthly_is_exact() -> None:
    assert periodic_fraction(Decimal("0.0545"), "monthly", "monthly") == Fraction("0.0545") / 12


def test_a_root_that_is_a_short_decimal_comes_out_short() -> None:
    """(1.005)^2 = 1.010025: monthly 1.0025% a month is 0.5% a half-month, exactly."""
    j = Decimal("0.010025") * 12
    assert periodic_fraction(j, "monthly", "semi-monthly") == Fraction("0.005")


def test_the_period_rate_compounds_back_to_the_quoted_rate() -> None:
    for frequency, p in (("monthly", 12), ("semi-monthly", 24), ("biweekly", 26), ("weekly", 52)):
        i = periodic_rate(Decimal("0.0489"), "semi-annual", frequency)  # type: ignore[arg-type]
        year = (1 + Fraction(i)) ** p
        assert abs(year - (1 + Fraction("0.0489") / 2) ** 2) < Fraction(1, 10**45)
    accelerated = periodic_rate(Decimal("0.0489"), "semi-annual", "accelerated-weekly")
    assert accelerated == periodic_rate(Decimal("0.0489"), "semi-annual", "weekly")


def test_no_rate_is_no_interest_and_a_negative_one_is_refused() -> None:
    assert periodic_fraction(Decimal(0), "semi-annual", "weekly") == 0
    with pytest.raises(ValueError, match="negative"):
        periodic_fraction(Decimal("-0.01"), "monthly", "monthly")


def test_growth_of_a_month() -> None:
    monthly = root_growth(Decimal("0.03"), Fraction(1, 12))
    assert abs((1 + monthly) ** 12 - Fraction("1.03")) < Fraction(1, 10**45)
    assert root_growth(Decimal(-1), Fraction(1, 12)) == -1


def test_rates_in_force() -> None:
    steps = ((date(2025, 1, 1), Decimal("0.05")), (date(2025, 3, 13), Decimal("0.04")))
    assert rate_on(steps, date(2024, 12, 31)) is None
    assert rate_on(steps, date(2025, 3, 12)) == Decimal("0.05")
    assert rate_on(steps, date(2025, 3, 13)) == Decimal("0.04")


def test_the_plans_prime_holds_from_its_first_entry() -> None:
    own = ((date(2025, 3, 1), Decimal("0.05")),)
    filed = ((date(2025, 1, 1), Decimal("0.06")), (date(2025, 4, 1), Decimal("0.07")))
    merged = merged_prime(own, filed)
    assert rate_on(merged, date(2025, 2, 28)) == Decimal("0.06")
    assert rate_on(merged, date(2025, 5, 1)) == Decimal("0.05")
    assert merged_prime((), filed) == filed
