"""The monthly series against figures published or remembered elsewhere."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from planning.core.market_series import (
    ASSUMED_YIELD,
    PRIME_OVER_BANK_RATE,
    MarketMonth,
    distribution,
    market_months,
    price_growth,
)
from planning.core.months import months_between

# Calendar-year total return of the Canadian share index, percent [from memory, as published];
# the first column is what the series gives. From 2017 on the yield is assumed, so years part
# by a few tenths of a point.
PUBLISHED = {
    2001: ("-12.6", "-12.6"),
    2002: ("-12.4", "-12.4"),
    2003: ("26.6", "26.7"),
    2008: ("-33.0", "-33.0"),
    2009: ("35.0", "35.1"),
    2011: ("-8.8", "-8.7"),
    2015: ("-8.4", "-8.3"),
    2017: ("9.1", "9.1"),
    2018: ("-9.0", "-8.9"),
    2019: ("22.6", "22.9"),
    2020: ("5.2", "5.6"),
    2021: ("25.3", "25.1"),
    2022: ("-6.0", "-5.8"),
}


def at(month: str) -> MarketMonth:
    """The row of a month."""
    return next(one for one in market_months() if one.month == month)


def year_return(year: int) -> Decimal:
    """Total return of a calendar year in percent, to a tenth."""
    known = market_months()
    first = next(index for index, one in enumerate(known) if one.month == f"{year}-01")
    grown = Fraction(1)
    for before, now in zip(known[first - 1 : first + 11], known[first : first + 12], strict=True):
        grown *= 1 + price_growth(before, now) + distribution(before)
    return Decimal(round(float(grown - 1) * 1000)) / 10


@pytest.mark.parametrize("year", PUBLISHED)
def test_a_calendar_year_of_the_share_index(year):
    ours, published = (Decimal(one) for one in PUBLISHED[year])
    assert year_return(year) == ours
    assert abs(ours - published) <= Decimal("0.4")


def test_prime_peaked_at_22_75_in_august_1981():
    # Bank of Canada, v80691311: the highest prime on record.
    highest = max(one.prime for one in market_months())
    assert [one.month for one in market_months() if one.prime == highest] == ["1981-08"]
    assert highest == Decimal("0.2275")


@pytest.mark.parametrize(
    ("month", "prime"),
    [("2020-04", "0.0245"), ("2022-02", "0.0245"), ("2022-12", "0.0645"), ("1975-01", "0.1050")],
)
def test_prime_of_a_month(month, prime):
    # 2.45% while the target was 0.25%; 6.45% after the increase of 7 December 2022; 10.50%
    # from mid-January 1975 until the week of 5 February.
    assert at(month).prime == Decimal(prime)
    assert not at(month).prime_derived


def test_the_months_have_no_gap_and_no_more_than_the_file_says():
    months = [one.month for one in market_months()]
    assert tuple(months) == months_between("1956-01", "2022-12")


def test_what_is_not_reported_is_marked():
    derived = [one.month for one in market_months() if one.prime_derived]
    assumed = [one.month for one in market_months() if one.yield_assumed]
    assert tuple(derived) == months_between("1956-01", "1974-12")
    assert tuple(assumed) == months_between("2016-09", "2022-12")
    assert {at(month).dividend_yield for month in assumed} == {ASSUMED_YIELD}
    assert at("1974-10").prime == Decimal("0.0925") + PRIME_OVER_BANK_RATE


def test_consumer_prices_rose_6_3_percent_over_2022():
    # Statistics Canada, The Daily, January 2023: December on December.
    assert round(at("2022-12").cpi / at("2021-12").cpi - 1, 3) == Decimal("0.063")
