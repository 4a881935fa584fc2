"""What a projection by years needs to know of a household, in cents and rates as floats."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

from config.problems import BadInput, Problem
from planning.core.amortization import contractual_payments, payments_before
from planning.core.comparison_cases import effective_rates, gain_rate, without_reborrowing
from planning.core.flat_tax import flat_tax
from planning.core.history_household import term_in_force
from planning.core.plan import run_plan
from planning.core.plan_opening import opening_of
from planning.core.plan_types import OpeningClasses, PlanPayment
from planning.core.rates import (
    COMPOUNDINGS_A_YEAR,
    PAYMENTS_A_YEAR,
    merged_prime,
    periodic_fraction,
    rate_on,
)
from planning.core.room import Limits, opening_excess_cents
from planning.core.types import ExcessRule, Household, Mortgage, Plan

_DAYS_A_YEAR = 365.25
Traced = Mapping[str, OpeningClasses]


@dataclass(frozen=True, slots=True)
class MortgageStart:
    """All mortgages taken as one: balances added, the rest weighted by balance.

    `monthly_rate` is the first rate by month; `yearly_payment` what a year's
    payments come to; `pace` that over the level payment that would just last the
    amortization; `first_renewal` the plan year of the first renewal, None for a
    mortgage that follows prime at `spread`; `privilege` the prepayment allowed a year.
    """

    balance: float
    monthly_rate: float
    compoundings: int
    yearly_payment: float
    pace: float
    months_left: float
    first_renewal: int | None
    spread: float
    privilege: float


@dataclass(frozen=True, slots=True)
class Start:
    """The household on the plan's first day. Amounts in cents."""

    mortgage: MortgageStart
    prime: float
    line: float
    line_eligible: float
    line_spread: float
    portfolio: float
    excess: float
    excess_rule: ExcessRule
    payable: bool
    limits: Limits
    ordinary_rate: float
    dividend_rate: float
    gain_rate: float
    extras: tuple[float, ...]
    years: int


@dataclass(frozen=True, slots=True)
class Policy:
    """What a case does with its money each year. Amounts in cents a year.

    `refund_left` is the part of a year that is left when the refund arrives.
    """

    share: float
    opening_draw: float
    reserve: float
    from_line: bool
    by_advance: bool
    refund: Literal["prepay", "invest", "keep"]
    refund_left: float
    distributions: Literal["reinvest", "prepay", "cash"]
    receipts: float
    expenses: float


def policy_of(household: Household) -> Policy:
    """The rules of the household's plan."""
    plan = household.plan
    assert plan is not None
    reborrow, dam = plan.reborrow, plan.dam
    return Policy(
        share=float(reborrow.share) if reborrow else 0.0,
        opening_draw=float(reborrow.opening_draw_cents) if reborrow else 0.0,
        reserve=float(reborrow.reserve_cents) if reborrow else 0.0,
        from_line=plan.line_interest == "from-line",
        by_advance=household.facility.capitalised_interest == "paid-by-advance",
        refund=plan.refund,
        refund_left=(12 - plan.refund_month) / 12,
        distributions=plan.investment.distributions,
        receipts=12.0 * dam.receipts_cents if dam else 0.0,
        expenses=12.0 * dam.expenses_cents if dam else 0.0,
    )


def start_of(household: Household, opening_classes: Traced | None, file: str) -> Start:
    """Read the household's state; raises BadInput for what is wrong with its plan."""
    plan = household.plan
    assert plan is not None
    rates = effective_rates(household, file)
    alone = without_reborrowing(household)
    first_year = run_plan(alone, opening_classes, tax_of_year=flat_tax(rates), file=file, months=12)
    opening = dict(plan.opening)
    kinds = {one.ref: one.kind for one in household.investments}
    classes = [
        opening_of(household, one.ref, opening.get(one.ref, 0), opening_classes)
        for one in household.lines
    ]
    line = sum(one.total_cents for one in classes)
    owed = sum(opening.get(one.ref, 0) for one in household.mortgages)
    facility = household.facility
    by_kind = dict(rates.by_kind)
    years = plan.months // 12
    return Start(
        mortgage=_mortgage(household, plan, first_year.payments),
        prime=_prime(household, plan, file),
        line=float(line),
        line_eligible=float(sum(one.eligible_cents for one in classes)),
        line_spread=_line_spread(household, plan),
        portfolio=float(
            sum(cents for ref, cents in plan.opening if kinds.get(ref) == "non-registered")
        ),
        excess=float(opening_excess_cents(facility, owed, line)),
        excess_rule=facility.excess_rule,
        payable=facility.interest_method == "payable",
        limits=Limits.of(facility),
        ordinary_rate=float(rates.ordinary),
        dividend_rate=float(by_kind.get("eligible_dividend", 0)),
        gain_rate=float(gain_rate(rates)),
        extras=_extras(plan, years),
        years=years,
    )


def _prime(household: Household, plan: Plan, file: str) -> float:
    """Prime on the plan's first day; every simulated rate starts from it."""
    found = rate_on(merged_prime(plan.prime, household.prime), plan.starts)
    if found is None:
        raise BadInput(
            [
                Problem(
                    file,
                    "plan.prime",
                    f"a projection needs prime on or before {plan.starts}, and none is given",
                    "Add the prime rate in force on that day to plan.prime or prime",
                )
            ]
        )
    return float(found)


def _line_spread(household: Household, plan: Plan) -> float:
    """The spread of the line the plan draws on, else of the first one."""
    wanted = plan.reborrow.line if plan.reborrow else None
    for one in household.lines:
        if wanted in (None, one.ref):
            return float(one.spread)
    return 0.0


def _extras(plan: Plan, years: int) -> tuple[float, ...]:
    """Planned prepayments by plan year."""
    sums = [0.0] * years
    for one in plan.extras:
        months = (one.on.year - plan.starts.year) * 12 + one.on.month - plan.starts.month
        if months // 12 < years:
            sums[months // 12] += one.amount_cents
    return tuple(sums)


def _mortgage(household: Household, plan: Plan, payments: tuple[PlanPayment, ...]) -> MortgageStart:
    opening = dict(plan.opening)
    owing = [one for one in household.mortgages if opening.get(one.ref, 0)]
    if not owing:
        return MortgageStart(0.0, 0.0, 2, 0.0, 1.0, 12.0, None, 0.0, 0.0)
    largest = max(owing, key=lambda one: opening[one.ref])
    balance = float(sum(opening[one.ref] for one in owing))
    rate = left = paid = privilege = 0.0
    for one in owing:
        weight = opening[one.ref] / balance
        first = next(pay for pay in payments if pay.mortgage == one.ref)
        a_year = PAYMENTS_A_YEAR[one.frequency]
        periodic = float(periodic_fraction(first.rate, one.compounding, one.frequency))
        rate += weight * ((1 + periodic) ** (a_year / 12) - 1)
        gone = payments_before(one, plan.starts)
        left += weight * float(contractual_payments(one) - gone) * 12 / a_year
        paid += first.payment * a_year
        privilege += float(one.prepayment_privilege) * one.original_principal_cents
    left = max(left, 1.0)
    level = balance * rate / (1 - (1 + rate) ** -left) if rate else balance / left
    renewal, spread = _renewal(largest, plan.starts)
    return MortgageStart(
        balance=balance,
        monthly_rate=rate,
        compoundings=COMPOUNDINGS_A_YEAR[largest.compounding],
        yearly_payment=paid,
        pace=paid / (12 * level),
        months_left=left,
        first_renewal=renewal,
        spread=spread,
        privilege=privilege,
    )


def _renewal(mortgage: Mortgage, starts: date) -> tuple[int | None, float]:
    """The plan year of the first renewal, or None and the spread to prime."""
    term = term_in_force(mortgage, payments_before(mortgage, starts))
    if term.kind != "fixed":
        return None, float(term.spread or 0)
    years = (term.matures - starts).days / _DAYS_A_YEAR
    return max(0, round(years)), 0.0
