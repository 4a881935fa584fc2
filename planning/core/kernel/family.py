"""Which plans the arrays can play. Every other plan is played by the scalar engine."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from planning.core.amortization import scheduled_date
from planning.core.months import month_of
from planning.core.rates import merged_prime, rate_on
from planning.core.types import Household, Mortgage, Plan

# Bounds that keep every product inside 64 bits; see exact.py.
_LARGEST_BALANCE = 1 << 29
LARGEST_LINE = (1 << 29) * 8 // 5
"""The bound on a line's balance, looked at once in twelve months."""
LARGEST_LINE_RATE = Decimal("0.2")
_HALF = Decimal("0.5")
_FIRST_YEAR, _LAST_YEAR = 1950, 2150
RATE_PLACES, TAX_PLACES, FILE_PLACES = 6, 8, 12


def outside(household: Household) -> str | None:
    """Why the household's plan is not for the arrays, or None when it is.

    The plan must have passed `plan_problems`. A plan inside the family may
    still leave it while it runs (an undecided rounding, a draw that pays part of
    the interest of a mixed line); the block notices that itself.
    """
    return next(_reasons(household), None)


def _reasons(household: Household) -> Iterator[str]:
    plan = household.plan
    if plan is None:
        yield "no plan"
        return
    taxable = [one for one in household.investments if one.kind == "non-registered"]
    if (len(household.mortgages), len(household.lines), len(taxable)) != (1, 1, 1):
        yield "not one mortgage, one line and one account"
        return
    if plan.dam is not None:
        yield "cash damming"
    if plan.marginal is None:
        yield "tax by the members' returns"
    yield from _mortgage(household.mortgages[0], plan)
    yield from _line(household, plan)
    yield from _amounts(household, plan)
    yield from _extras(plan)


def _mortgage(mortgage: Mortgage, plan: Plan) -> Iterator[str]:
    if mortgage.frequency != "monthly":
        yield "payments are not monthly"
    rates = [one.rate_annual for one in mortgage.terms]
    if any(one.kind != "fixed" for one in mortgage.terms) or None in rates:
        yield "a term that is not fixed"
    if any(not rate for rate in (*rates, *(one.rate_annual for one in plan.renewals))):
        yield "a mortgage without interest"
    elif any(
        (rate or 0) >= _HALF for rate in (*rates, *(one.rate_annual for one in plan.renewals))
    ):
        yield "a mortgage rate out of proportion"
    if plan.starts.year < _FIRST_YEAR or plan.starts.year + plan.months // 12 >= _LAST_YEAR:
        yield "a plan outside the calendar"


def _line(household: Household, plan: Plan) -> Iterator[str]:
    line = household.lines[0]
    prime = merged_prime(plan.prime, household.prime)
    if rate_on(prime, plan.starts) is None:
        yield "no rate for the line"
    for _day, rate in prime:
        if not 0 <= rate + line.spread <= LARGEST_LINE_RATE or not _fits(
            rate + line.spread, RATE_PLACES
        ):
            yield "a line rate of more digits or beyond 20%"
            break
    periods = [month_of(day + timedelta(days=1)) for day, _rate in prime if day > plan.starts]
    if len(set(periods)) < len(periods):
        yield "two changes of prime between two postings"
    facility = household.facility
    if (
        facility.interest_method == "payable"
        and plan.line_interest == "from-line"
        and facility.capitalised_interest == "compounding"
    ):
        yield "compound interest deducted apart"


def _amounts(household: Household, plan: Plan) -> Iterator[str]:
    facility, reborrow, marginal = household.facility, plan.reborrow, plan.marginal
    cents = [
        household.mortgages[0].original_principal_cents,
        min(facility.line_cap_cents, facility.lender_value_cents),
        facility.lender_value_cents,
        facility.registered_limit_cents,
        *(amount for _ref, amount in plan.opening),
        *(one.amount_cents for one in plan.extras),
        *(() if reborrow is None else (reborrow.opening_draw_cents, reborrow.reserve_cents)),
        *(one.payment_cents or 0 for one in household.mortgages[0].terms),
    ]
    if max(cents) >= _LARGEST_BALANCE or min(cents) < 0 or facility.revolving_cap > 1:
        yield "an amount beyond 5 million"
    if reborrow is not None and not 0 <= reborrow.share <= 1:
        yield "a share beyond the whole"
    investment = plan.investment
    yields = [rate for _kind, rate in investment.yields_annual]
    if abs(investment.growth_annual) >= _HALF or min(yields, default=0) < 0 or sum(yields) >= _HALF:
        yield "a growth or yield out of proportion"
    if marginal is not None:
        rates = (marginal.ordinary, *(rate for _kind, rate in marginal.by_kind))
        if any(not _fits(rate, TAX_PLACES) or not 0 <= rate <= 1 for rate in rates):
            yield "a tax rate of more digits"
    if household.mortgages[0].prepayment_privilege > 1:
        yield "a privilege beyond the whole"


def _extras(plan: Plan) -> Iterator[str]:
    months = [month_of(one.on) for one in plan.extras]
    if len(set(months)) < len(months) or any(one.on == plan.starts for one in plan.extras):
        yield "two extras in a month, or one on the first day"


def _fits(rate: Decimal, places: int) -> bool:
    scale: int = 10**places
    return scale % Fraction(rate).denominator == 0


def change_index(mortgage: Mortgage, index: int, due: date) -> int:
    """The first payment from `index` on that is made after a change due on `due`.

    A change takes hold after the first scheduled payment on or after its date.
    """
    first = mortgage.first_payment
    found = max(index, (due.year - first.year) * 12 + due.month - first.month)
    found = max(found, 1)
    while scheduled_date(mortgage, found - 1) < due:
        found += 1
    return found
