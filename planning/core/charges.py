"""Estimates of the charge for paying a mortgage before its term ends.

Always estimates: lenders differ in the comparison rate and in how they count
the months left. The lender's written quote decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from planning.core.money import round_half_up
from planning.core.rates import root_growth


@dataclass(frozen=True, slots=True)
class ChargeEstimate:
    """An estimated prepayment charge and the two figures it was chosen from, in cents."""

    charge_cents: int
    three_months_cents: int
    differential_cents: int
    basis: Literal["three-months", "differential"]
    note: str = "An estimate; only the lender's written quote decides."


def three_months_interest_cents(balance_cents: int, j: Decimal) -> int:
    """Three months' simple interest: round(B x j / 4)."""
    return round_half_up(balance_cents * Fraction(j) / 4)


def three_months_compounded_cents(balance_cents: int, j: Decimal) -> int:
    """Three months' interest at a half-yearly compounded rate: round(B x ((1 + j/2)^(1/2) - 1))."""
    return round_half_up(balance_cents * root_growth(Fraction(j) / 2, Fraction(1, 2)))


def differential_cents(
    balance_cents: int, contract: Decimal, comparison: Decimal, months_left: int
) -> int:
    """Interest-rate differential, simplified: round(B x (contract - comparison) x months/12).

    Zero when the comparison rate is not below the contract rate.
    """
    gap = Fraction(contract) - Fraction(comparison)
    return max(0, round_half_up(balance_cents * gap * months_left / 12))


def charge_estimate(
    balance_cents: int,
    contract: Decimal,
    comparison: Decimal | None,
    months_left: int,
) -> ChargeEstimate:
    """The charge most contracts name: variable, three months' interest; fixed, the
    greater of that and the differential. Pass `comparison` None for a variable rate.
    """
    three = three_months_interest_cents(balance_cents, contract)
    gap = 0
    if comparison is not None:
        gap = differential_cents(balance_cents, contract, comparison, months_left)
    if gap > three:
        return ChargeEstimate(gap, three, gap, "differential")
    return ChargeEstimate(three, three, gap, "three-months")
