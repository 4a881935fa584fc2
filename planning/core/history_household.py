"""A household's plan bent onto a stretch of history, in the household's own calendar.

Month k of the plan meets month k of the stretch: its return, and the rates that
were known when that month began (those of the month before).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

from planning.core.amortization import payments_before, scheduled_date
from planning.core.market_series import MarketMonth, distribution, price_growth
from planning.core.months import first_day, last_day, month_of, shift_month
from planning.core.plan_investment import MarketPath, MonthReturn
from planning.core.types import Household, Mortgage, Plan, RateSteps, Term

RENEWAL_MONTHS = 60


def market_of(plan: Plan, stretch: Sequence[MarketMonth], fee_annual: Decimal) -> MarketPath:
    """The plan's monthly returns from a stretch.

    `stretch` holds one month more than is replayed: the first only gives the
    close and the yield before it. Price growth less a twelfth of the fee;
    distributions are eligible dividends.
    """
    first = month_of(plan.starts)
    kept = 1 - Fraction(fee_annual) / 12
    return {
        shift_month(first, index): MonthReturn(
            growth=(1 + price_growth(before, now)) * kept - 1,
            yields=(("eligible_dividend", distribution(before)),),
        )
        for index, (before, now) in enumerate(pairwise(stretch))
    }


def household_in(
    household: Household, stretch: Sequence[MarketMonth], discount: Decimal
) -> Household:
    """The household with the stretch's prime and mortgage rates and as many months.

    A fixed mortgage renews on the plan's first day and every five years at the
    average rate less `discount`; one whose term in force follows prime keeps its
    spread and lets the payment follow. Planned renewals give way; extras beyond
    the horizon are dropped.
    """
    plan = household.plan
    assert plan is not None
    months = len(stretch) - 1
    first = month_of(plan.starts)
    ends = last_day(shift_month(first, months - 1))
    mortgages = tuple(_mortgage(one, plan, stretch, discount) for one in household.mortgages)
    floor = _lowest_prime(household, mortgages)
    prime = _steps(first, [max(one.prime, floor) for one in stretch[:-1]])
    bent = replace(
        plan,
        months=months,
        prime=prime,
        renewals=(),
        extras=tuple(one for one in plan.extras if one.on <= ends),
    )
    return replace(household, mortgages=mortgages, prime=(), plan=bent)


def _mortgage(
    mortgage: Mortgage, plan: Plan, stretch: Sequence[MarketMonth], discount: Decimal
) -> Mortgage:
    """The mortgage with terms of history; its schedule and amortization stay.

    When payments were made before the plan, a first term stands for them, so
    that the payment is solved on what is owed over the payments that are left.
    """
    before = payments_before(mortgage, plan.starts)
    current = term_in_force(mortgage, before)
    terms = _terms(current, plan, stretch, discount)
    if before:
        past = Term(
            starts=mortgage.terms[0].starts,
            matures=scheduled_date(mortgage, before - 1),
            kind="fixed",
            rate_annual=Decimal(0),
            spread=None,
            payment_cents=None,
        )
        terms = (past, *terms)
    return replace(mortgage, terms=terms)


def _terms(
    current: Term, plan: Plan, stretch: Sequence[MarketMonth], discount: Decimal
) -> tuple[Term, ...]:
    first = month_of(plan.starts)
    months = len(stretch) - 1
    if current.kind != "fixed":
        ends = first_day(shift_month(first, months))
        return (Term(plan.starts, ends, "adjustable", None, current.spread, None),)
    return tuple(
        Term(
            starts=first_day(shift_month(first, index)),
            matures=first_day(shift_month(first, index + RENEWAL_MONTHS)),
            kind="fixed",
            rate_annual=max(Decimal(0), stretch[index].mortgage_average - discount),
            spread=None,
            payment_cents=None,
        )
        for index in range(0, months, RENEWAL_MONTHS)
    )


def term_in_force(mortgage: Mortgage, before: int) -> Term:
    """The term in force when the plan starts, after `before` payments."""
    found = mortgage.terms[0]
    latest = scheduled_date(mortgage, before - 1) if before else date.min
    for last, term in zip(mortgage.terms[:-1], mortgage.terms[1:], strict=True):
        if last.matures <= latest:
            found = term
    return found


def _lowest_prime(household: Household, mortgages: Sequence[Mortgage]) -> Decimal:
    """The least prime at which no rate of the household falls below zero."""
    spreads = [one.spread for one in household.lines]
    spreads += [term.spread for one in mortgages for term in one.terms if term.spread is not None]
    return max([-one for one in spreads], default=Decimal(0))


def _steps(first: str, rates: Sequence[Decimal]) -> RateSteps:
    """A rate by month as steps on first days, change points only."""
    steps: list[tuple[date, Decimal]] = []
    for index, rate in enumerate(rates):
        if not steps or steps[-1][1] != rate:
            steps.append((first_day(shift_month(first, index)), rate))
    return tuple(steps)
