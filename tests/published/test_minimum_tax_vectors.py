"""Minimum tax: the federal screen against vectors computed by hand from the statute.

ITA 127.51 (20.5 %; exemption = first dollar amount of 117(2)(d), 181,440 for
2026), 127.52(1)(d) (gains in full) and (j) (half of the interest added back),
127.531 (half of the basic credits), with 2026 brackets 58,523 / 117,045 /
181,440 / 258,482 at 14 / 20.5 / 26 / 29 / 33 %. Credit base 20,000, no other
items, no published worked return: each amount follows from

    [20.5% x max(0, S + G - X/2 - C) - c K / 2]  against  T(S + G/2 - X) - c K
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from config.problems import BadInput
from planning.core.tax.amt import screen
from planning.core.tax.engine import Income
from planning.core.tax.parameters import known_years, parameters

# Salary, interest deducted, gain in dollars; regular, minimum and excess in cents.
VECTORS = [
    (150_000, 20_000, 0, 2075853, 0, 0),
    (220_000, 60_000, 0, 2855853, 35480, 0),
    (300_000, 100_000, 0, 3951533, 1265480, 0),
    (400_000, 300_000, 0, 1389601, 1265480, 0),
    (500_000, 400_000, 0, 1389601, 2290480, 900879),
    (150_000, 30_000, 400_000, 7677605, 7107980, 0),
    (150_000, 30_000, 700_000, 12627605, 13257980, 630375),
]


@pytest.mark.parametrize(("salary", "interest", "gain", "regular", "minimum", "excess"), VECTORS)
def test_the_seven_vectors_of_2026(
    salary: int, interest: int, gain: int, regular: int, minimum: int, excess: int
) -> None:
    income = Income(
        ordinary_cents=salary * 100,
        deduction_cents=interest * 100,
        capital_gain_cents=gain * 100,
    )
    got = screen(parameters(2026), income, credit_base_cents=2_000_000)
    assert (got.regular, got.minimum, got.excess) == (regular, minimum, excess)
    assert got.triggered is (excess > 0)
    assert got.carry_forward_years == 7  # ITA 120.2


@pytest.mark.parametrize(("year", "exemption"), [(2024, 173205), (2025, 177882), (2026, 181440)])
def test_the_exemption_is_the_start_of_the_fourth_bracket(year: int, exemption: int) -> None:
    """ITA 127.51 and 117(2)(d); CRA form T691 (2024)."""
    law = parameters(year)
    assert law.minimum_tax.exemption == exemption * 100 == law.federal.edges[3]


def test_the_rules_before_2024_are_those_of_the_old_form() -> None:
    """Form T691 (2023): 15 % over 40,000, gains at 80 %, interest deducted in full."""
    income = Income(15000000, capital_gain_cents=40000000, deduction_cents=3000000)
    got = screen(parameters(2023), income, credit_base_cents=2_000_000)
    # 150,000 + 320,000 - 30,000 = 440,000; 15% x 400,000 - 15% x 20,000 = 57,000.
    assert (got.adjusted, got.minimum) == (44000000, 5700000)


def test_dividends_enter_without_gross_up_and_without_their_credit() -> None:
    """ITA 127.52(1)(f): actual amounts; 500,000 of eligible dividends, 2026."""
    got = screen(parameters(2026), Income(eligible_dividends_cents=50000000), credit_base_cents=0)
    assert got.adjusted == 50000000
    assert got.minimum == round((500000 - 181440) * 20.5)


def test_the_provinces_part_is_unknown_where_its_factor_is_not_on_file() -> None:
    income = Income(ordinary_cents=50000000, deduction_cents=40000000)
    law = parameters(2026)
    # gov.bc.ca, Budget 2026: 40 % of the federal minimum tax.
    british = screen(law, income, province="BC")
    assert british.provincial == round(Fraction(40, 100) * british.excess)
    assert british.excess > 0
    assert screen(law, income, province="QC").provincial is None
    nothing = screen(law, Income(ordinary_cents=10000000), province="QC")
    assert (nothing.excess, nothing.provincial) == (0, 0)


def test_a_year_that_is_not_on_file_raises() -> None:
    with pytest.raises(BadInput, match="Years known: 2023"):
        screen(parameters(known_years()[-1] + 1), Income())


@pytest.mark.parametrize("salary", [100_000, 200_000, 300_000, 350_000])
def test_interest_alone_does_not_trigger_it_below_360_000(salary: int) -> None:
    """Follows from the formula above for 2026, credit base 20,000."""
    for interest in range(0, salary + 1, 10_000):
        income = Income(ordinary_cents=salary * 100, deduction_cents=interest * 100)
        got = screen(parameters(2026), income, credit_base_cents=2_000_000)
        assert not got.triggered, interest


@pytest.mark.parametrize(
    ("salary", "gain"), [(100_000, 450_000), (150_000, 600_000), (200_000, 760_000)]
)
def test_a_large_gain_in_one_year_is_what_triggers_it(salary: int, gain: int) -> None:
    """The same formula with 20,000 of interest: the turning points, within a tenth."""

    def triggered(dollars: int) -> bool:
        income = Income(
            ordinary_cents=salary * 100,
            deduction_cents=2_000_000,
            capital_gain_cents=dollars * 100,
        )
        return screen(parameters(2026), income, credit_base_cents=2_000_000).triggered

    assert not triggered(gain * 9 // 10)
    assert triggered(gain * 11 // 10)
