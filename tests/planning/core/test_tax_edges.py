"""Edges of the tax engine: credits above the tax, deductions above the income,
amounts that fall with income, reductions on and off. Hand figures beside each."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from fractions import Fraction

import pytest

from planning.core.tax.engine import (
    Income,
    basic_amount,
    exact_basic_amount,
    marginal_rates,
    tax,
    taxable_income,
)
from planning.core.tax.parameters import DATA, JURISDICTIONS, indexed, known_years, parameters


def salary(dollars: int, **more: int) -> Income:
    """Ordinary income in dollars, other amounts in cents."""
    return Income(ordinary_cents=dollars * 100, **more)


@pytest.mark.parametrize("year", known_years())
@pytest.mark.parametrize("code", JURISDICTIONS)
def test_every_schedule_is_whole(year: int, code: str) -> None:
    law = parameters(year)
    for schedule in (law.federal, law.provinces[code]):
        assert schedule.edges[0] == 0
        assert list(schedule.edges) == sorted(set(schedule.edges))
        assert list(schedule.rates) == sorted(schedule.rates)
        assert len(schedule.edges) == len(schedule.rates)
        # The credit rate is the lowest rate of the year everywhere.
        assert schedule.credit_rate == schedule.rates[0]
        assert 0 <= schedule.basic.minimum <= schedule.basic.maximum
        assert 0 < schedule.other_credit < schedule.eligible_credit < Fraction(1, 5)
    book = tomllib.loads((DATA / f"{year}.toml").read_text("utf-8"))
    amount = book["jurisdiction"][code]["basic_personal_amount"]
    # Net and taxable income are one figure here; a third kind would need work.
    assert amount.get("phase_out_on", "net_income") in ("net_income", "taxable_income")
    assert law.provinces[code].limits_investment_expense is (code == "QC")
    assert (law.provinces[code].abatement > 0) is (code == "QC")


@pytest.mark.parametrize("code", JURISDICTIONS)
def test_a_dividend_credit_larger_than_the_tax_gives_nothing_back(code: str) -> None:
    """30,000 of eligible dividends, 41,400 taxable, 2025: the credit passes the tax
    everywhere but in Newfoundland and Labrador, 8.7 % x (41,400 - 11,067) - 6.3 % x
    41,400 = 30.77. The health premium is no tax that a credit meets."""
    got = tax(parameters(2025), code, Income(eligible_dividends_cents=3000000))
    assert (got.federal_cents, got.surtax_cents) == (0, 0)
    assert got.provincial_cents == (3077 if code == "NL" else 0)
    assert got.health_premium_cents == (45000 if code == "ON" else 0)


def test_ontarios_dividend_credit_is_taken_from_tax_and_surtax_together() -> None:
    """ON428 lines 63 to 73: surtax first, then the credit. 130,000 of eligible
    dividends, 2025: 179,400 taxable; basic tax 52,886 x 5.05% + 52,889 x 9.15% +
    44,225 x 11.16% + 29,400 x 12.16% - 12,747 x 5.05% = 15,376.55; surtax 20% over
    5,710 + 36% over 7,307 = 4,838.35; credit 17,940.00, which passes the basic tax
    and takes 2,563.45 of the surtax."""
    got = tax(parameters(2025), "ON", Income(eligible_dividends_cents=13000000))
    basic = (
        Decimal("0.0505") * (52886 - 12747) + Decimal("0.0915") * 52889
        + Decimal("0.1116") * 44225 + Decimal("0.1216") * 29400
    )  # fmt: skip
    surtax = Decimal("0.20") * (basic - 5710) + Decimal("0.36") * (basic - 7307)
    credit = Decimal("0.10") * 179400
    assert credit > basic
    assert got.provincial_cents == 0
    assert abs(got.surtax_cents - (basic + surtax - credit) * 100) <= Decimal("0.5")


@pytest.mark.parametrize("code", JURISDICTIONS)
def test_a_deduction_larger_than_the_income_leaves_no_tax_and_no_refund(code: str) -> None:
    got = tax(parameters(2025), code, salary(10_000, deduction_cents=5_000_000), quebec_limit=False)
    assert got.total_cents == 0
    assert taxable_income(parameters(2025), salary(10_000, deduction_cents=5_000_000)) == 0


def test_in_quebec_such_a_deduction_leaves_the_salary_taxed_at_home() -> None:
    law = parameters(2025)
    got = tax(law, "QC", salary(80_000, deduction_cents=20_000_000))
    assert got.federal_cents == got.abatement_cents == 0
    assert got.addback_cents == 20_000_000
    assert got.provincial_cents == tax(law, "QC", salary(80_000)).provincial_cents


def test_quebecs_pool_cannot_make_income_negative() -> None:
    law = parameters(2025)
    income = Income(interest_cents=300_000)
    got = tax(law, "QC", income, pool_cents=9_000_000)
    assert (got.addback_cents, got.used_cents) == (0, 300_000)
    assert got.provincial_cents == 0
    free = tax(law, "ON", income, pool_cents=9_000_000)
    assert (free.addback_cents, free.used_cents) == (0, 0)


def test_prince_edward_island_2023_surtax_comes_after_the_dividend_credit() -> None:
    """PE428 (2023): 10 % of the excess over 12,500 of tax less the dividend credit.
    150,000: 31,984 x 9.8% + 31,985 x 13.8% + 86,031 x 16.7% - 12,750 x 9.8% = 20,666.04;
    surtax 816.60. With 60,000 of eligible dividends on 90,000 of salary (172,800
    taxable, 24,473.64) the credit of 8,694.00 brings it to 15,779.64, surtax 327.96."""
    law = parameters(2023)
    plain = tax(law, "PE", salary(150_000))
    assert (plain.provincial_cents, plain.surtax_cents) == (2066604, 81660)
    mixed = tax(law, "PE", salary(90_000, eligible_dividends_cents=6_000_000))
    assert (mixed.provincial_cents, mixed.surtax_cents) == (1577964, 32796)
    assert parameters(2024).provinces["PE"].surtaxes == ()


@pytest.mark.parametrize("year", [2023, 2024])
def test_nova_scotias_amount_falls_with_taxable_income(year: int) -> None:
    """NS428 line 58040: 11,481 up to 25,000 of taxable income, 6 cents less per
    dollar, 8,481 from 75,000. A deduction restores it, since it lowers both incomes."""
    law = parameters(year)
    basic = law.provinces["NS"].basic
    for dollars, cents in ((25_000, 1148100), (25_001, 1148094), (50_000, 998100),
                           (75_000, 848100), (200_000, 848100)):  # fmt: skip
        assert basic_amount(basic, Fraction(dollars * 100)) == cents
    with_deduction = tax(law, "NS", salary(80_000, deduction_cents=3_000_000))
    assert with_deduction.provincial_cents == tax(law, "NS", salary(50_000)).provincial_cents
    rate = marginal_rates(law, "NS", salary(50_000))["ordinary"]
    assert rate == Fraction("0.15") + Fraction("0.1495") + Fraction("0.06") * Fraction("0.0879")
    assert parameters(2025).provinces["NS"].basic.phase_out_start is None


def test_manitobas_amount_falls_to_nil_between_200_000_and_400_000() -> None:
    """Manitoba Budget 2024, from 2025 on: 15,780 falls by 7.89 cents a dollar."""
    basic = parameters(2025).provinces["MB"].basic
    for dollars, cents in ((200_000, 1578000), (300_000, 789000), (400_000, 0), (900_000, 0)):
        assert basic_amount(basic, Fraction(dollars * 100)) == cents
    assert parameters(2024).provinces["MB"].basic.phase_out_start is None
    extra = Fraction(15780, 200_000) * Fraction("0.108")
    rate = marginal_rates(parameters(2025), "MB", salary(300_000))["ordinary"]
    assert rate == Fraction("0.33") + Fraction("0.174") + extra


@pytest.mark.parametrize("year", known_years())
def test_yukon_follows_the_federal_amount(year: int) -> None:
    """Form YT428: the federal amount, falling with it, at Yukon's own lowest rate."""
    law = parameters(year)
    assert law.provinces["YT"].basic == law.federal.basic
    assert law.provinces["YT"].credit_rate == Fraction("0.064")
    assert law.federal.basic.phase_out_start == law.federal.edges[3]
    assert law.federal.basic.phase_out_end == law.federal.edges[4]


def test_the_amount_of_a_return_is_in_whole_cents_that_of_a_rate_exact() -> None:
    basic = parameters(2025).federal.basic
    at = Fraction(200_000_00)
    assert basic_amount(basic, at) == 1566311
    assert exact_basic_amount(basic, at) != 1566311


def test_ontarios_reduction_doubles_and_is_off_unless_asked_for() -> None:
    """ON428 (2025), basic reduction 294: at 20,000 the tax of 366.2765 is less
    2 x 294 - 366.2765 = 221.7235, so 144.55; nil below 294 of tax, none from 588 on."""
    law = parameters(2025)
    assert tax(law, "ON", salary(20_000)).provincial_cents == 36628
    assert tax(law, "ON", salary(20_000), low_income_reductions=True).provincial_cents == 14455
    assert tax(law, "ON", salary(18_500)).provincial_cents == 29053
    assert tax(law, "ON", salary(18_500), low_income_reductions=True).provincial_cents == 0
    for dollars in (25_000, 150_000):
        assert tax(law, "ON", salary(dollars)) == tax(
            law, "ON", salary(dollars), low_income_reductions=True
        )


def test_british_columbias_reduction_tapers_and_is_off_unless_asked_for() -> None:
    """BC428 (2026), 690 less 3.56 % of net income over 25,570, nil from 44,952. At
    30,000: 16,784 x 5.6% = 939.90 less 690 - 157.71 = 532.29 gives 407.61."""
    law = parameters(2026)
    assert tax(law, "BC", salary(30_000)).provincial_cents == 93990
    assert tax(law, "BC", salary(30_000), low_income_reductions=True).provincial_cents == 40761
    assert tax(law, "BC", salary(20_000), low_income_reductions=True).provincial_cents == 0
    for dollars in (44_952, 150_000):
        assert tax(law, "BC", salary(dollars)) == tax(
            law, "BC", salary(dollars), low_income_reductions=True
        )


def test_a_year_beyond_the_last_on_file_indexes_the_minimum_tax_exemption() -> None:
    later = indexed(known_years()[-1] + 1, Decimal("0.02"))
    assert later.minimum_tax.exemption == later.federal.edges[3] == 18506900
    assert later.minimum_tax.rate == Fraction("0.205")
