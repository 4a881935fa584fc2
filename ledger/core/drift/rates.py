"""Rates in force that are not the plan's."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from fractions import Fraction

from ledger.core.contract import rate_at
from ledger.core.drift.context import DriftContext
from ledger.core.drift.findings import Finding, step
from ledger.core.mortgage_facts import MortgageBook
from planning.core.amortization import payments_before
from planning.core.money import round_half_up
from planning.core.rates import merged_prime, rate_on


def rate_off_plan(context: DriftContext) -> tuple[Finding, ...]:
    """A line's or a mortgage's rate at the close differs from the plan's by 0.25 points or more.

    Dollars: balance x difference, a year. A mortgage's rate is that of its last
    scheduled payment, unless its statement states one.
    """
    if context.month not in context.plan_rows:
        return ()
    found = []
    for line in context.household.lines:
        if line.ref in context.book.statements:
            balance = context.book.line_on(line.ref, context.as_of)
            actual = context.line_rate(line, context.as_of)
            found += _compare(context, line.ref, balance, actual, _planned_line(context, line.ref))
    for ref, book in context.book.mortgages.items():
        if book.known_since is not None and book.balance_on(context.as_of) > 0:
            actual, planned = _mortgage_rates(context, book)
            found += _compare(context, ref, book.balance_on(context.as_of), actual, planned)
    return tuple(found)


def _compare(
    context: DriftContext,
    account: str,
    balance: int,
    actual: Decimal | None,
    planned: Decimal | None,
) -> list[Finding]:
    if actual is None or planned is None:
        return []
    difference = abs(actual - planned)
    if difference < context.thresholds.rate_off_plan:
        return []
    dollars = round_half_up(Fraction(difference) * max(0, balance))
    return [
        Finding(
            code="rate-off-plan",
            key=account,
            dollars_cents=dollars,
            severity="note",
            life="state",
            cost_per_year_cents=dollars if actual > planned else 0,
            remedy=(
                step(
                    "{account} is at {actual}, the plan at {planned}: enter the new rate and "
                    "run the plan again.",
                    account=account,
                    actual=percent(actual),
                    planned=percent(planned),
                ),
            ),
        )
    ]


def percent(rate: Decimal) -> str:
    """A rate as a reader writes it: 0.0545 -> "5.45%"."""
    return f"{(rate * 100).normalize():f}%"


def _planned_line(context: DriftContext, ref: str) -> Decimal | None:
    plan = context.household.plan
    assert plan is not None
    prime = rate_on(merged_prime(plan.prime, context.household.prime), context.as_of)
    return None if prime is None else prime + context.line(ref).spread


def _mortgage_rates(
    context: DriftContext, book: MortgageBook
) -> tuple[Decimal | None, Decimal | None]:
    """The rate in force and the planned one at the last scheduled payment."""
    mortgage, as_of = book.mortgage, context.as_of
    index = payments_before(mortgage, as_of + timedelta(days=1)) - 1
    planned = None
    for one in context.plan.payments:
        if one.date > as_of:
            break
        if one.mortgage == mortgage.ref and one.payment:
            planned = one.rate
    covering = context.book.statement_covering(mortgage.ref, as_of)
    stated = rate_on(covering.rates, as_of) if covering else None
    if stated is not None:
        return stated, planned
    return (rate_at(mortgage, index, context.prime) if index >= 0 else None), planned
