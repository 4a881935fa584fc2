"""One non-registered investment account of a plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from planning.core.money import round_ratio
from planning.core.rates import root_growth
from planning.core.types import PlanInvestment, YieldKind


@dataclass(frozen=True, slots=True)
class MonthReturn:
    """What one month does to an opening value: price change, distributions by kind."""

    growth: Fraction
    yields: tuple[tuple[YieldKind, Fraction], ...]


MarketPath = Mapping[str, MonthReturn]
"""Returns by month ("YYYY-MM") that take the place of the plan's constant ones."""


class Assumptions:
    """The plan's investment assumptions with the month's rates worked out once.

    The usual month grows by (1 + g)^(1/12) - 1, the price change after
    distributions, and distributes y/12 of its opening value by kind. A month
    that `market` names has that return instead.
    """

    def __init__(self, investment: PlanInvestment, market: MarketPath | None = None) -> None:
        self._usual = MonthReturn(
            growth=root_growth(investment.growth_annual, Fraction(1, 12)),
            yields=tuple(
                (kind, Fraction(rate) / 12) for kind, rate in investment.yields_annual if rate
            ),
        )
        self._market = market or {}
        self.route = investment.distributions

    def month(self, month: str) -> MonthReturn:
        """The return of a month."""
        return self._market.get(month, self._usual)


class AccountRun:
    """An account while the plan runs. Amounts in cents.

    `own` is the household's own money in it (O), `cost` its cost for tax.
    """

    def __init__(self, ref: str, opening: int, linked: int, assumptions: Assumptions) -> None:
        self.ref = ref
        self.value = opening
        self.month_opening = opening
        self.own = max(0, opening - linked)
        self.cost = opening
        self.assumptions = assumptions

    def contribute(self, amount: int, *, own: bool) -> None:
        """Add money; it grows from the next month on."""
        self.value += amount
        self.cost += amount
        if own:
            self.own += amount

    def close_month(self, month: str) -> tuple[int, dict[YieldKind, int]]:
        """Growth and distributions of the month on its opening value.

        round(open x ((1+g)^(1/12) - 1)), and by kind round(open x y/12), unless the
        market path says otherwise. What is
        reinvested joins the value; a reinvested return of capital leaves the
        own money as it was, any other reinvested distribution is own money.
        """
        opening = self.month_opening
        returned = self.assumptions.month(month)
        growth = _times(opening, returned.growth)
        paid = {kind: _times(opening, rate) for kind, rate in returned.yields}
        self.value += growth
        if self.assumptions.route == "reinvest":
            total = sum(paid.values())
            capital = paid.get("return_of_capital", 0)
            self.value += total
            self.own += total - capital
            self.cost += total - capital
        self.month_opening = self.value
        return growth, paid

    def capital_leaving(self, amount: int, linked: int) -> int:
        """Return of capital leaving the account: the borrowed part, which loses its use.

        min(L, round(phi x R)) with phi = L / (L + O); the rest is own money.
        """
        self.cost = max(0, self.cost - amount)
        whole = linked + self.own
        moved = min(linked, round_ratio(linked * amount, whole)) if whole else 0
        self.own = max(0, self.own - (amount - moved))
        return moved


def _times(amount: int, rate: Fraction) -> int:
    """round(amount x rate), halves away from zero."""
    return round_ratio(amount * rate.numerator, rate.denominator)


def sum_kinds(into: dict[str, int], paid: Mapping[YieldKind, int]) -> None:
    """Add a month's distributions by kind to a year's."""
    for kind, amount in paid.items():
        into[kind] = into.get(kind, 0) + amount
