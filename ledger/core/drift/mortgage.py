"""A mortgage's payments, prepayments and trigger rate."""

from __future__ import annotations

from datetime import date, timedelta
from fractions import Fraction

from ledger.core.contract import (
    contract_payment_cents,
    periodic_of,
    rate_at,
    rate_of,
    term_index,
)
from ledger.core.drift.context import DriftContext
from ledger.core.drift.findings import Finding, joined, step
from ledger.core.drift.thresholds import share_of
from ledger.core.mortgage_facts import MortgageBook
from planning.core.amortization import (
    interest_cents,
    payments_before,
    scheduled_date,
)
from planning.core.money import round_half_up
from planning.core.months import first_day
from planning.core.rates import PAYMENTS_A_YEAR


def payment_due(context: DriftContext, book: MortgageBook, index: int) -> int:
    """The amount of a scheduled payment by the contract, as known at the close; 0 if unknown."""
    since = book.known_since or context.as_of

    def balance_on(day: date) -> int:
        return book.balance_on(min(day, context.as_of))

    return contract_payment_cents(book.mortgage, index, context.prime, balance_on, since) or 0


def covered(context: DriftContext, account: str, day: date) -> bool:
    """Whether a statement of the account covers a day."""
    return context.book.statement_covering(account, day) is not None


def payment_missed(context: DriftContext) -> tuple[Finding, ...]:
    """A scheduled payment that was not made 5 days after its date.

    Each scheduled date takes the earliest free payment dated from 5 days before
    it to 6 before the next one. Silent while the date or the 5 days after it
    are not covered by statements; closed when as many payments were made up to
    the close, early ones too, as were scheduled.
    """
    found: list[Finding] = []
    for book in context.book.mortgages.values():
        found += _missed(context, book)
    return tuple(found)


def _missed(context: DriftContext, book: MortgageBook) -> list[Finding]:
    mortgage, wait = book.mortgage, timedelta(days=context.thresholds.payment_days)
    if book.known_since is None:
        return []
    paid = [one.on for one in book.facts if one.kind == "payment" and one.on <= context.as_of]
    first = payments_before(mortgage, book.known_since)
    missed: list[int] = []
    scheduled = made = 0
    index = first
    while (day := scheduled_date(mortgage, index)) <= context.as_of:
        following = scheduled_date(mortgage, index + 1)
        due = book.balance_on(day - timedelta(days=1)) > 0 and covered(context, mortgage.ref, day)
        if due:
            payments = sum(day - wait <= one < following - wait for one in paid)
            scheduled, made = scheduled + 1, made + payments
            settled = day + wait <= context.as_of and covered(context, mortgage.ref, day + wait)
            if settled and not payments:
                missed.append(index)
        index += 1
    # A payment already made for the date that comes next counts as made.
    made += sum(day - wait <= one for one in paid)
    if made >= scheduled:
        return []
    return [_missed_finding(context, book, one) for one in missed]


def _missed_finding(context: DriftContext, book: MortgageBook, index: int) -> Finding:
    ref, day = book.mortgage.ref, scheduled_date(book.mortgage, index)
    payment = payment_due(context, book, index)
    rate = rate_at(book.mortgage, index, context.prime)
    cost = 0 if rate is None else round_half_up(Fraction(rate) * payment)
    return Finding(
        code="payment-missed",
        key=joined(ref, day),
        dollars_cents=payment,
        severity="fix",
        life="state",
        cost_per_year_cents=cost,
        remedy=(
            step(
                "Pay {amount} on {mortgage} for {day}, and ask the lender whether it charged "
                "interest or a fee on the delay.",
                amount=payment,
                mortgage=ref,
                day=day.isoformat(),
            ),
        ),
    )


def payment_off_plan(context: DriftContext) -> tuple[Finding, ...]:
    """Scheduled payments of the month differ from the plan's by more than 1.00.

    Prepayments are left out; a month that statements do not cover wholly is
    not judged.
    """
    if context.month not in context.plan_rows:
        return ()
    found = []
    for ref, book in context.book.mortgages.items():
        if not _covers_month(context, ref):
            continue
        planned = sum(
            one.payment
            for one in context.plan.payments
            if one.mortgage == ref and context.in_month(one.date)
        )
        made = [one for one in book.facts if one.kind == "payment" and context.in_month(one.on)]
        paid = sum(one.amount for one in made)
        if abs(paid - planned) <= context.thresholds.payment_off_plan_cents:
            continue
        found.append(
            Finding(
                code="payment-off-plan",
                key=joined(ref, context.month),
                dollars_cents=abs(paid - planned),
                severity="note",
                life="month",
                evidence=tuple(one.id for one in made),
                remedy=(
                    step(
                        "Paid {paid}, planned {planned}: correct the standing order, or bring "
                        "the plan up to date.",
                        paid=paid,
                        planned=planned,
                    ),
                ),
            )
        )
    return tuple(found)


def _covers_month(context: DriftContext, account: str) -> bool:
    day = first_day(context.month)
    while day <= context.as_of:
        statement = context.book.statement_covering(account, day)
        if statement is None:
            return False
        day = statement.ends + timedelta(days=1)
    return True


def trigger_rate(context: DriftContext) -> tuple[Finding, ...]:
    """A static variable payment at or below the interest, or within 10% above it.

    Dollars: how far payment and interest lie apart.
    """
    found = []
    for ref, book in context.book.mortgages.items():
        mortgage = book.mortgage
        index = payments_before(mortgage, context.as_of + timedelta(days=1))
        term = mortgage.terms[term_index(mortgage, index)]
        balance = book.balance_on(context.as_of)
        rate = rate_of(term, context.as_of, context.prime)
        if term.kind != "static" or balance <= 0 or rate is None:
            continue
        payment = payment_due(context, book, index)
        interest = interest_cents(balance, periodic_of(mortgage, rate))
        margin = payment - interest
        if payment == 0 or margin > share_of(interest, context.thresholds.trigger_margin):
            continue
        yearly = max(0, -margin) * PAYMENTS_A_YEAR[mortgage.frequency]
        found.append(
            Finding(
                code="trigger-rate",
                key=ref,
                dollars_cents=abs(margin),
                severity="fix",
                life="state",
                cost_per_year_cents=yearly,
                remedy=(
                    step(
                        "The payment of {payment} on {mortgage} meets interest of {interest}: "
                        "raise the payment or prepay, since principal frees no room below it.",
                        payment=payment,
                        mortgage=ref,
                        interest=interest,
                    ),
                ),
            )
        )
    return tuple(found)


def prepayment_over_privilege(context: DriftContext) -> tuple[Finding, ...]:
    """Prepayments of the calendar year above the privilege. Dollars: the excess."""
    year = context.as_of.year
    found = []
    for ref, book in context.book.mortgages.items():
        mortgage = book.mortgage
        made = [
            one
            for one in book.facts
            if one.kind == "prepayment" and one.on.year == year and one.on <= context.as_of
        ]
        privilege = round_half_up(
            share_of(mortgage.original_principal_cents, mortgage.prepayment_privilege)
        )
        excess = sum(one.amount for one in made) - privilege
        if excess <= 0:
            continue
        found.append(
            Finding(
                code="prepayment-over-privilege",
                key=joined(ref, year),
                dollars_cents=excess,
                severity="note",
                life="state",
                evidence=tuple(one.id for one in made),
                remedy=(
                    step(
                        "{excess} was prepaid beyond the year's privilege of {privilege}: check "
                        "the statement for a prepayment charge.",
                        excess=excess,
                        privilege=privilege,
                    ),
                    step("Leave further prepayments to the new calendar year."),
                ),
            )
        )
    return tuple(found)
