"""One case of a projection, stepped by years over all paths at once. Amounts in cents.

Within a year payments, draws, line interest and spare cash come in twelve equal
parts; the refund comes once, in its month; limits are looked at once a year.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from planning.core.projection_start import Policy, Start
from planning.core.scenarios import Floats, Growth, windows

_LOWEST_MORTGAGE = 0.005
_RENEWAL_YEARS = 5
_MONTHS = 12
# A level flow inside a year earns interest for 11.5 months of 24 on average.
_HALF = 11.5 / 24
# Cash found spare at a month's end is prepaid with the next payment: 4.5 months on average.
_LATER = 4.5 / 12


@dataclass(frozen=True, slots=True)
class YearOfMarket:
    """One year of every path: returns, and rates as they were when it began and on average."""

    year: int
    paid_out: Growth
    reinvested: Growth
    prime: Floats
    prime_mean: Floats
    prime_on_added: Floats
    mortgage_rate: Floats


@dataclass(frozen=True, slots=True)
class Cash:
    """Cash a case takes in a year: in twelve equal parts, and besides in the refund's month."""

    even: Floats
    lump: Floats

    @property
    def total(self) -> Floats:
        """The year's cash."""
        return self.even + self.lump


@dataclass(frozen=True, slots=True)
class _Moved:
    """What the mortgage part of a year moved."""

    cash: Floats
    refund_prepaid: Floats
    freed: Floats


def budget_of(one: Cash, other: Cash) -> Floats:
    """The larger of two cases' cash, as month by month: the refund's month apart."""
    usual: Floats = np.maximum(one.even, other.even) * (11 / 12)
    return usual + np.maximum(one.even / 12 + one.lump, other.even / 12 + other.lump)


class CaseRun:
    """A case's balances by path. `savings` is the unused cash, invested out of own money."""

    def __init__(self, start: Start, policy: Policy, paths: int) -> None:
        self.start, self.policy = start, policy
        first = policy.opening_draw
        self.mortgage = np.full(paths, start.mortgage.balance)
        self.excess = np.full(paths, start.excess)
        self.line = np.full(paths, start.line + first)
        self.eligible = np.full(paths, start.line_eligible + first)
        self.first = first
        self.portfolio = np.full(paths, start.portfolio)
        self.cost = np.full(paths, start.portfolio + first)
        self.savings, self.savings_cost = np.zeros(paths), np.zeros(paths)
        self.saving_due = np.zeros(paths)
        self.unpaid, self.waiting = np.zeros(paths), np.zeros(paths)
        self.gap = self._limit() - self.line
        self.below = np.maximum(0.0, self.line - self.portfolio - first)
        self.payment = np.full(paths, start.mortgage.yearly_payment)
        self._set_rate(np.full(paths, start.mortgage.monthly_rate))

    # -- the year -----------------------------------------------------------------

    def year(self, market: YearOfMarket, budget: Floats | None = None) -> Cash:
        """Play a year; the cash it took. With a `budget`, spare cash is prepaid."""
        policy = self.policy
        self._renew(market)
        refund, self.saving_due = self.saving_due, np.zeros_like(self.saving_due)
        growth = market.reinvested if policy.distributions == "reinvest" else market.paid_out
        invested = np.maximum(0.0, refund) if policy.refund == "invest" else np.zeros_like(refund)
        from_portfolio = self.portfolio * growth.paid_on_opening
        first, self.first = self.first, 0.0
        if first:
            from_portfolio = from_portfolio + first * growth.paid_on_first
        if budget is None:
            moved = self._pay(market.year, refund, from_portfolio)
            draw, dam = self._draw(moved.freed, market)
            interest, deductible = self._line_year(market, draw + dam)
        else:
            draw = np.zeros_like(refund)
            interest, deductible = self._line_year(market, draw)
            spare = budget + refund - interest
            if policy.distributions != "reinvest":
                spare = spare + from_portfolio
            moved = self._pay(market.year, refund, from_portfolio, spare)
            dam = draw
        contribution = draw + invested
        paid = from_portfolio + contribution * growth.paid_on_added
        self.portfolio = self.portfolio * growth.on_opening + contribution * growth.on_added
        if first:
            self.portfolio = self.portfolio + first * growth.on_first
        reinvest = policy.distributions == "reinvest"
        self.cost += contribution + paid if reinvest else contribution
        start = self.start
        self.saving_due = start.ordinary_rate * deductible - start.dividend_rate * paid
        self.below = np.maximum(self.below, self.line - self.portfolio)
        taken = 0.0 if reinvest else paid
        from_cash = 0.0 if policy.from_line else interest
        even = moved.cash - moved.refund_prepaid + from_cash - dam - taken
        return Cash(even, invested + moved.refund_prepaid - refund)

    def save(self, flow: Floats, market: YearOfMarket) -> None:
        """Invest cash the case did not use; the tax on its income is paid out of it."""
        growth = market.reinvested
        paid = self.savings * growth.paid_on_opening + flow * growth.paid_on_added
        tax = self.start.dividend_rate * paid
        self.savings = self.savings * growth.on_opening + flow * growth.on_added - tax
        self.savings_cost += flow + paid - tax

    def worth(self) -> Floats:
        """Net worth after tax on the gain if all is sold; a loss saves no tax, the home is out."""
        value: Floats = self.portfolio + self.savings
        gain: Floats = np.maximum(0.0, value - self.cost - self.savings_cost)
        worth: Floats = value - self.mortgage - self.line - self.start.gain_rate * gain
        return worth

    # -- the mortgage ----------------------------------------------------------------

    def _renew(self, market: YearOfMarket) -> None:
        """Set rate and payment anew: every five years, or each year when it follows prime."""
        one = self.start.mortgage
        if not one.balance:
            return
        if one.first_renewal is None:
            yearly = market.prime_mean + one.spread
        elif market.year >= one.first_renewal and not (
            (market.year - one.first_renewal) % _RENEWAL_YEARS
        ):
            yearly = market.mortgage_rate
        else:
            return
        yearly = np.maximum(_LOWEST_MORTGAGE, yearly)
        k = one.compoundings
        rate = (1 + yearly / k) ** (k / _MONTHS) - 1
        self._set_rate(rate)
        left = max(1.0, one.months_left - _MONTHS * market.year)
        level = self.mortgage * rate / (1 - (1 + rate) ** -left)
        self.payment = level * _MONTHS * one.pace

    def _set_rate(self, monthly: Floats) -> None:
        """Work out what a dollar owed, and a dollar paid each month, come to in a year."""
        self.grown = (1 + monthly) ** _MONTHS
        level = (self.grown - 1) / np.maximum(monthly, 1e-12)
        self.annuity = np.where(monthly > 0, level, float(_MONTHS))

    def _pay(
        self, year: int, refund: Floats, distributions: Floats, spare: Floats | None = None
    ) -> _Moved:
        """The year's payments and prepayments. `spare` is the cash a budget leaves before them."""
        policy, one = self.policy, self.start.mortgage
        before = self.mortgage
        grown = self.grown
        owed = before * grown - self.payment / _MONTHS * self.annuity
        paid = np.maximum(0.0, self.payment + np.minimum(owed, 0.0))
        owed = np.maximum(owed, 0.0)
        level, later = 1 + (grown - 1) * _HALF, 1 + (grown - 1) * _LATER
        allowed = np.full_like(before, one.privilege)
        prepaid = refund_prepaid = np.zeros_like(before)

        def prepay(amount: Floats | float, worth: Floats) -> Floats:
            nonlocal owed, allowed, prepaid
            taken: Floats = np.minimum(np.minimum(amount, allowed), owed / worth)
            owed = owed - taken * worth
            allowed = allowed - taken
            prepaid = prepaid + taken
            return taken

        if policy.receipts:
            prepay(policy.receipts, level)
        if policy.refund == "prepay":
            refund_prepaid = prepay(np.maximum(0.0, refund), 1 + (grown - 1) * policy.refund_left)
        if policy.distributions == "prepay":
            prepay(distributions, later)
        if self.start.extras[year]:
            prepay(self.start.extras[year], level)
        if spare is not None:
            prepay(np.maximum(0.0, spare - paid - prepaid), later)
        self.mortgage = owed
        principal = np.maximum(0.0, before - owed)
        sent = self._to_excess(principal, before)
        self.excess = self.excess - sent
        return _Moved(paid + prepaid, refund_prepaid, principal - sent)

    def _to_excess(self, principal: Floats, before: Floats) -> Floats:
        """The part of the principal that lowers the amortising excess."""
        rule = self.start.excess_rule
        if rule == "none" or not self.start.excess:
            return np.zeros_like(principal)
        if rule == "excess-first":
            sent: Floats = np.minimum(principal, self.excess)
        else:
            share = principal * self.excess / np.maximum(before, 1.0)
            sent = np.minimum(np.minimum(principal, self.excess), share)
        return sent

    # -- the line ------------------------------------------------------------------

    def _draw(self, freed: Floats, market: YearOfMarket) -> tuple[Floats, Floats]:
        """The year's re-borrowing, and the draws for dammed expenses, within the room."""
        policy = self.policy
        none = np.zeros_like(freed)
        if not (policy.share or policy.expenses):
            return none, none
        room = self._limit() - self.line
        if policy.from_line:
            room = room - self.line * (market.prime_mean + self.start.line_spread)
        room = np.maximum(0.0, room)
        dam = np.minimum(policy.expenses, room) if policy.expenses else none
        wanted = policy.share * np.maximum(0.0, freed - dam)
        return np.minimum(wanted, np.maximum(0.0, room - dam - policy.reserve)), dam

    def _limit(self) -> Floats:
        """max(0, min(line_cap, G - M)) as balances stand."""
        limits = self.start.limits
        whole = np.minimum(limits.registered_cents, limits.cap65_cents + self.excess)
        limit: Floats = np.clip(whole - self.mortgage, 0.0, limits.line_cap_cents)
        return limit

    def _line_year(self, market: YearOfMarket, draw: Floats) -> tuple[Floats, Floats]:
        """Interest of the year and its deductible part; joins the balance when drawn from it."""
        spread = self.start.line_spread
        on_opening = np.maximum(0.0, market.prime_mean + spread)
        on_draw = np.maximum(0.0, market.prime_on_added + spread / 2)
        if self.policy.from_line:
            on_opening = on_opening * (1 + on_opening * _HALF)
            on_draw = on_draw * (1 + on_draw * _HALF)
        interest = self.line * on_opening + draw * on_draw
        deductible = self.eligible * on_opening + draw * on_draw
        self.line = self.line + draw
        self.eligible = self.eligible + draw
        if self.policy.from_line:
            self.line = self.line + interest
            self.eligible = self.eligible + deductible
            compound = self.unpaid / np.maximum(self.eligible, 1.0)
            deductible = self._drawn_interest(deductible, compound)
        return interest, deductible

    def _drawn_interest(self, posted: Floats, share_compound: Floats) -> Floats:
        """What of the year's eligible interest is deductible when draws must pay it.

        While there is room everything posted is paid; nothing is once the balance
        has passed the limit, and in the year that passes it the interest before
        that point is. What stays unpaid is paid in a year that has room again.
        Paid interest is deductible; with the method `payable` simple interest
        already is when posted, and only interest on unpaid interest waits.
        """
        before, self.gap = self.gap, self._limit() - self.line
        if self.policy.by_advance:
            return posted
        at_once = posted * (1 - share_compound) if self.start.payable else 0.0
        waiting = posted - at_once
        part = np.clip(before / np.maximum(before - self.gap, 1.0), 0.0, 1.0)
        room = self.gap >= 0
        paid = np.where(room, waiting + self.waiting, waiting * part)
        self.waiting = self.waiting + waiting - paid
        self.unpaid = np.where(room, 0.0, self.unpaid + posted * (1 - part))
        deductible: Floats = at_once + paid
        return deductible


def year_of_market(year: int, drawn: np.typing.NDArray[np.int64], prime: Floats) -> YearOfMarket:
    """The drawn windows of one year, looked up for every path."""
    table = windows()
    return YearOfMarket(
        year=year,
        paid_out=_taken(table.paid_out, drawn),
        reinvested=_taken(table.reinvested, drawn),
        prime=prime,
        prime_mean=prime * table.prime_mean[drawn],
        prime_on_added=prime * table.prime_on_added[drawn],
        mortgage_rate=prime + table.mortgage_gap[drawn],
    )


def _taken(growth: Growth, drawn: np.typing.NDArray[np.int64]) -> Growth:
    return Growth(*(getattr(growth, one.name)[drawn] for one in fields(growth)))
