"""Average cost and return of capital against worked numbers of others."""

from __future__ import annotations

from fractions import Fraction

import pytest

from ledger.core.cost_base import Holding, buy, return_of_capital, sell


def units(number: int) -> Fraction:
    """Whole units."""
    return Fraction(number)


def test_average_cost_of_identical_shares() -> None:
    # taxrebalance 0.2.0 (MIT), its worked trade list, checked by hand: 100 at 10 + 9.95,
    # 50 at 12 + 9.95, 60 sold at 13 less 9.95: cost 971.94 left, gain 122.09.
    held = buy(Holding(), units(100), 1000_00, 9_95)
    held = buy(held, units(50), 600_00, 9_95)
    assert held == Holding(units(150), 1619_90)
    sold = sell(held, units(60), 780_00, 9_95)
    assert (sold.cost_cents, sold.gain_cents) == (647_96, 122_09)
    assert sold.left == Holding(units(90), 971_94)


def test_mutual_fund_units_redeemed() -> None:
    # Canada Revenue Agency, tax treatment of mutual funds, the example of "Kate": average cost
    # 15.20, 200 units redeemed at 17.42 with a fee of 70: gain 374.
    held = buy(Holding(), units(500), 7600_00)
    sold = sell(held, units(200), 3484_00, 70_00)
    assert (sold.cost_cents, sold.gain_cents) == (3040_00, 374_00)


def test_a_return_of_capital_below_zero_is_a_gain_at_once() -> None:
    # Canada Revenue Agency, tax treatment of mutual funds; Income Tax Act 40(3), 53(2)(h):
    # cost 400, box 42 of 650: gain 250, cost 0.
    after = return_of_capital(Holding(units(10), 400_00), 650_00)
    assert (after.gain_cents, after.left.cost_cents) == (250_00, 0)


def test_a_return_of_capital_lowers_the_cost() -> None:
    # A published worked example: 200 units at 21.95 + 9.99 less 172.41 of capital: 4,227.58.
    held = buy(Holding(), units(200), 4390_00, 9_99)
    after = return_of_capital(held, 172_41)
    assert (after.gain_cents, after.left.cost_cents) == (0, 4227_58)
    # A negative box 42 raises it again.
    assert return_of_capital(after.left, -172_41).left == held


def test_a_reinvested_distribution_raises_the_cost() -> None:
    held = buy(buy(Holding(), units(100), 1000_00), Fraction(5, 2), 26_00)
    assert held == Holding(Fraction(205, 2), 1026_00)
    assert sell(held, Fraction(205, 2), 1026_00).left == Holding(Fraction(0), 0)


@pytest.mark.parametrize("number", [0, -1, 11])
def test_units_that_cannot_be_sold(number: int) -> None:
    with pytest.raises(ValueError, match="units"):
        sell(Holding(units(10), 100_00), units(number), 1_00)
