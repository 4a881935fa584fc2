"""What a mortgage's contract says of one scheduled payment: its term, rate and amount.

Scheduled payments are counted from 0 at `first_payment`. Interest is in
arrears: the first payment on or after a term's maturity is the last one at
that term's rate and amount; the next term holds from the payment after it.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from planning.core.amortization import (
    contractual_payments,
    payment_cents,
    payments_before,
    scheduled_date,
)
from planning.core.rates import periodic_fraction, rate_on
from planning.core.types import Mortgage, RateSteps, Term

BalanceOn = Callable[[date], int]
"""End-of-day balance of the mortgage in cents."""


def term_index(mortgage: Mortgage, index: int) -> int:
    """Which term scheduled payment `index` is made under."""
    if index <= 0 or len(mortgage.terms) < 2:
        return 0
    before = scheduled_date(mortgage, index - 1)
    found = 0
    for following in range(1, len(mortgage.terms)):
        if mortgage.terms[following - 1].matures <= before:
            found = following
    return found


def rate_of(term: Term, day: date, prime: RateSteps) -> Decimal | None:
    """The term's yearly rate on a day; None when it needs a prime rate that is not on file."""
    if term.rate_annual is not None:
        return term.rate_annual
    found = rate_on(prime, day)
    return None if found is None or term.spread is None else found + term.spread


def periodic_of(mortgage: Mortgage, rate: Decimal) -> Fraction:
    """The rate of one payment period; a rate below zero counts as zero."""
    return periodic_fraction(max(rate, Decimal(0)), mortgage.compounding, mortgage.frequency)


def rate_at(mortgage: Mortgage, index: int, prime: RateSteps) -> Decimal | None:
    """The yearly rate scheduled payment `index` is counted at."""
    term = mortgage.terms[term_index(mortgage, index)]
    return rate_of(term, scheduled_date(mortgage, index), prime)


def contract_payment_cents(
    mortgage: Mortgage,
    index: int,
    prime: RateSteps,
    balance_on: BalanceOn,
    known_since: date,
) -> int | None:
    """The amount of scheduled payment `index`: the lender's where stated, else solved.

    The first term is solved on the original principal over the whole
    amortization; a later one on the balance before its first payment over what
    is left of it. An `adjustable` term is solved again at each payment whose
    rate differs from the one before. A balance is taken no earlier than
    `known_since`, the day statements begin. None when a rate is missing or
    nothing is left to spread the balance over.
    """
    position = term_index(mortgage, index)
    term = mortgage.terms[position]
    first = _first_of_term(mortgage, position)
    if term.kind == "adjustable":
        return _adjustable(mortgage, index, first, prime, balance_on, known_since)
    if term.payment_cents is not None:
        return term.payment_cents
    if position == 0:
        rate = rate_of(term, term.starts, prime)
        return _solve(mortgage, mortgage.original_principal_cents, rate, 0)
    base = max(first, payments_before(mortgage, known_since))
    rate = rate_of(term, scheduled_date(mortgage, first), prime)
    return _solve_at(mortgage, base, rate, balance_on)


def _adjustable(
    mortgage: Mortgage,
    index: int,
    first: int,
    prime: RateSteps,
    balance_on: BalanceOn,
    known_since: date,
) -> int | None:
    term = mortgage.terms[term_index(mortgage, index)]
    earliest = min(index, max(first, payments_before(mortgage, known_since)))
    rates = {
        k: rate_of(term, scheduled_date(mortgage, k), prime) for k in range(earliest, index + 1)
    }
    base = index
    while base > earliest and rates[base] == rates[base - 1]:
        base -= 1
    if base == earliest and term.payment_cents is not None:
        set_at = rate_of(term, max(term.starts, known_since), prime)
        if set_at == rates[earliest]:
            return term.payment_cents
    return _solve_at(mortgage, base, rates[base], balance_on)


def _first_of_term(mortgage: Mortgage, position: int) -> int:
    """The first scheduled payment made under a term."""
    if position == 0:
        return 0
    matures = mortgage.terms[position - 1].matures
    return payments_before(mortgage, matures) + 1


def _solve_at(
    mortgage: Mortgage, index: int, rate: Decimal | None, balance_on: BalanceOn
) -> int | None:
    before = scheduled_date(mortgage, index) - timedelta(days=1)
    return _solve(mortgage, balance_on(before), rate, index)


def _solve(mortgage: Mortgage, balance: int, rate: Decimal | None, made: int) -> int | None:
    remaining = contractual_payments(mortgage) - made
    if rate is None or remaining <= 0 or balance <= 0:
        return None
    return payment_cents(
        balance,
        max(rate, Decimal(0)),
        mortgage.compounding,
        mortgage.frequency,
        mortgage.biweekly_basis,
        remaining,
    )
