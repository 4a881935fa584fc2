"""Financing costs and Québec's pool against worked figures of the statutes."""

from __future__ import annotations

from fractions import Fraction

import pytest

from planning.core.tax.financing import financing_costs
from planning.core.tax.quebec import pool_years


def test_a_financing_cost_of_2500_over_five_years() -> None:
    """ITA 20(1)(e)(iii): 20 % x cost x days/365, always 365, so 366/365 in 2024;
    computed by hand. The leap year 2028 takes only what is left."""
    got = financing_costs(250000, 2024)
    assert [(one.year, one.deduction) for one in got] == [
        (2024, 50137), (2025, 50000), (2026, 50000), (2027, 50000), (2028, 49863)
    ]  # fmt: skip
    assert got[-1].left == 0


def test_a_debt_settled_early_frees_the_rest() -> None:
    """ITA 20(1)(e)(v): settled in 2026 other than by refinancing."""
    got = financing_costs(250000, 2024, settled_year=2026)
    assert [one.deduction for one in got] == [50137, 50000, 149863]


@pytest.mark.parametrize("cost", [0, 1, 2, 3, 100, 99999, 250001])
@pytest.mark.parametrize("share", [Fraction(0), Fraction(1, 3), Fraction(1)])
@pytest.mark.parametrize("settled", [None, 2023, 2025, 2040])
def test_the_parts_always_sum_to_the_eligible_cost(
    cost: int, share: Fraction, settled: int | None
) -> None:
    got = financing_costs(cost, 2023, eligible_share=share, settled_year=settled)
    eligible = int(cost * share + Fraction(1, 2))
    assert sum(one.deduction for one in got) == eligible
    assert all(one.deduction > 0 for one in got)
    assert [one.year for one in got] == list(range(2023, 2023 + len(got)))


@pytest.mark.parametrize(
    ("cost", "share", "settled"), [(-1, 1, None), (1, 2, None), (1, -1, None), (1, 1, 2019)]
)
def test_a_financing_cost_that_makes_no_sense_is_refused(
    cost: int, share: int, settled: int | None
) -> None:
    with pytest.raises(ValueError, match=r"cost|share|settled"):
        financing_costs(cost, 2020, eligible_share=Fraction(share), settled_year=settled)


def test_quebecs_pool_of_12_and_5_then_12_and_15() -> None:
    """Revenu Québec, TP-1 lines 231, 252, 260: 7,000 added back, then 3,000 used and
    4,000 left (computed from the rule)."""
    first, second = pool_years([(2025, 1200000, 500000), (2026, 1200000, 1500000)])
    assert (first.addback, first.used, first.pool) == (700000, 0, 700000)
    assert (second.addback, second.used, second.pool) == (0, 300000, 400000)
    # What reduces Québec income is the year's investment income here, both years.
    assert (first.allowed, second.allowed) == (500000, 1500000)


def test_the_pool_never_loses_a_cent_and_never_goes_below_nil() -> None:
    figures = [(2020 + n, 1000 * (n % 4), 700 * ((n * 3) % 5) - 300) for n in range(20)]
    got = pool_years(figures, opening_cents=500)
    claimed = sum(one.expenses for one in got)
    assert 500 + claimed == sum(one.allowed for one in got) + got[-1].pool
    assert all(one.pool >= 0 and one.allowed <= max(one.income, 0) for one in got)
    assert any(one.used for one in got)


def test_years_out_of_order_and_negative_amounts_are_refused() -> None:
    with pytest.raises(ValueError, match="rise"):
        pool_years([(2026, 0, 0), (2026, 0, 0)])
    with pytest.raises(ValueError, match="negative"):
        pool_years([(2026, -1, 0)])
    with pytest.raises(ValueError, match="negative"):
        pool_years([], opening_cents=-1)
