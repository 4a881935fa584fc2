"""Adjusted cost base of identical property: average cost, and what moves it.

Cents and exact units. Identical properties share one average cost (Income Tax
Act, section 47); costs of buying belong to the cost, costs of selling lower the
proceeds (section 40); a return of capital lowers the cost (paragraph 53(2)(h)),
a negative one raises it; below zero the excess is a capital gain at once and the
cost starts again at nothing (subsection 40(3)). Reinvested distributions are a
purchase at their amount. Superficial losses are not looked at here.

Statements on file carry no units, so nothing in the books is computed with
this; it checks a slip or a trade list that a person brings.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from planning.core.money import round_half_up


@dataclass(frozen=True, slots=True)
class Holding:
    """Units of one identical property and their whole cost in cents."""

    units: Fraction = Fraction(0)
    cost_cents: int = 0


@dataclass(frozen=True, slots=True)
class Disposed:
    """What is left after an event, the cost of what went, and the gain (a loss is below zero)."""

    left: Holding
    cost_cents: int
    gain_cents: int


def buy(held: Holding, units: Fraction, price_cents: int, costs_cents: int = 0) -> Holding:
    """Units bought for `price_cents` altogether; brokerage joins the cost.

    A reinvested distribution is a purchase of its units at its amount.
    """
    _more_than_nothing(units)
    return Holding(held.units + units, held.cost_cents + price_cents + costs_cents)


def return_of_capital(held: Holding, cents: int) -> Disposed:
    """A return of capital (T3 box 42): lowers the cost, a negative one raises it.

    What it takes below zero is a capital gain of the year; the cost is then zero.
    """
    left = held.cost_cents - cents
    gain = max(0, -left)
    return Disposed(Holding(held.units, max(0, left)), 0, gain)


def sell(held: Holding, units: Fraction, proceeds_cents: int, costs_cents: int = 0) -> Disposed:
    """Units sold for `proceeds_cents` altogether, at the average cost of all units.

    The cost that goes is rounded once, half away from zero; selling every unit
    takes the whole cost. Raises ValueError for more units than are held.
    """
    _more_than_nothing(units)
    if units > held.units:
        raise ValueError(f"{units} units cannot be sold out of {held.units}")
    cost = round_half_up(held.cost_cents * units / held.units)
    left = Holding(held.units - units, held.cost_cents - cost)
    return Disposed(left, cost, proceeds_cents - costs_cents - cost)


def _more_than_nothing(units: Fraction) -> None:
    if units <= 0:
        raise ValueError("the number of units is above zero")
