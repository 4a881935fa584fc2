"""A mortgage's term that ends, or has ended, with nothing on file to follow."""

from __future__ import annotations

from datetime import timedelta

from ledger.core.contract import periodic_of, rate_at
from ledger.core.drift.context import DriftContext
from ledger.core.drift.findings import Finding, Severity, joined, step
from ledger.core.drift.mortgage import payment_due
from ledger.core.mortgage_facts import MortgageBook
from planning.core.amortization import interest_cents, payments_before, scheduled_dates


def renewal_due(context: DriftContext) -> tuple[Finding, ...]:
    """The last term on file matures within 120 days and something will be owed.

    Dollars: the balance after the scheduled payments dated after the close and
    on or before maturity.
    """
    found = []
    for book in context.book.mortgages.values():
        term = book.mortgage.terms[-1]
        days = (term.matures - context.as_of).days
        if not 0 <= days <= context.thresholds.renewal_days:
            continue
        if book.balance_on(context.as_of) <= 0:
            continue
        balance = balance_at_maturity(context, book)
        ref, day = book.mortgage.ref, term.matures.isoformat()
        found.append(
            Finding(
                code="renewal-due",
                key=joined(ref, day),
                dollars_cents=balance,
                severity=_renewal_severity(context, days),
                life="state",
                remedy=(
                    step(
                        "{balance} of {mortgage} matures on {day}: ask for offers in writing.",
                        balance=balance,
                        mortgage=ref,
                        day=day,
                    ),
                    step(
                        "Keep the re-advance and the separate line in the new contract; keep "
                        "the old and new account numbers, so that each use stays traceable."
                    ),
                    step("Enter the new term here as soon as it is signed."),
                ),
            )
        )
    return tuple(found)


def _renewal_severity(context: DriftContext, days: int) -> Severity:
    if days <= context.thresholds.renewal_act_days:
        return "act"
    return "fix" if days <= context.thresholds.renewal_fix_days else "note"


def balance_at_maturity(context: DriftContext, book: MortgageBook) -> int:
    """The balance once the scheduled payments up to maturity are made, interest round(B x i)."""
    mortgage = book.mortgage
    balance = book.balance_on(context.as_of)
    dates = scheduled_dates(mortgage, context.as_of + timedelta(days=1), mortgage.terms[-1].matures)
    index = payments_before(mortgage, context.as_of + timedelta(days=1))
    for offset, _ in enumerate(dates):
        rate = rate_at(mortgage, index + offset, context.prime)
        payment = payment_due(context, book, index + offset)
        if rate is None or payment == 0:
            break
        interest = interest_cents(balance, periodic_of(mortgage, rate))
        balance = max(0, balance + interest - payment)
    return balance


def renewal_passed(context: DriftContext) -> tuple[Finding, ...]:
    """The last term on file has matured and something is still owed."""
    found = []
    for book in context.book.mortgages.values():
        term = book.mortgage.terms[-1]
        balance = book.balance_on(context.as_of)
        if term.matures >= context.as_of or balance <= 0:
            continue
        ref, day = book.mortgage.ref, term.matures.isoformat()
        found.append(
            Finding(
                code="renewal-passed",
                key=joined(ref, day),
                dollars_cents=balance,
                severity="act",
                life="state",
                remedy=(
                    step(
                        "The term of {mortgage} ended on {day} with {balance} owed: find out at "
                        "once which rate applies and enter the term in force.",
                        mortgage=ref,
                        day=day,
                        balance=balance,
                    ),
                    step("Check that the line may still be drawn under the new contract."),
                ),
            )
        )
    return tuple(found)
