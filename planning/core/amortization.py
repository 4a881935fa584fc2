"""Payments of a mortgage: how much, on which dates, and what each one pays.

A payment the lender stated is never computed again; these functions serve the
contracts that state none.
"""

from __future__ import annotations

import math
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from planning.core.money import round_ratio
from planning.core.months import day_in_month
from planning.core.rates import PAYMENTS_A_YEAR, WIDE, as_decimal, periodic_fraction
from planning.core.types import BiweeklyBasis, Compounding, Frequency, Mortgage

_CENTS_CONTEXT = WIDE.copy()
_CENTS_CONTEXT.prec = 40

ACCELERATED: dict[Frequency, int] = {"accelerated-biweekly": 2, "accelerated-weekly": 4}
_STEP_DAYS: dict[Frequency, int] = {
    "biweekly": 14,
    "accelerated-biweekly": 14,
    "weekly": 7,
    "accelerated-weekly": 7,
}


def interest_cents(balance_cents: int, periodic: Fraction | Decimal) -> int:
    """Interest of one period: round(B * i), half up, on the balance just before the payment."""
    if isinstance(periodic, Decimal):
        periodic = Fraction(periodic)
    return round_ratio(balance_cents * periodic.numerator, periodic.denominator)


def _annuity(balance_cents: int, periodic: Fraction, n: Fraction) -> Decimal:
    """The level payment in cents before rounding: B*i / (1 - (1+i)^-n), or B/n at rate 0."""
    if periodic == 0:
        return as_decimal(Fraction(balance_cents) / n)
    i = as_decimal(periodic)
    discounted = WIDE.power(WIDE.add(Decimal(1), i), as_decimal(-n))
    return WIDE.divide(
        WIDE.multiply(Decimal(balance_cents), i), WIDE.subtract(Decimal(1), discounted)
    )


def _rounded(value: Decimal, times: Fraction) -> int:
    exact = _CENTS_CONTEXT.plus(WIDE.multiply(value, as_decimal(times)))
    number = Fraction(exact)
    return round_ratio(number.numerator, number.denominator)


def payment_cents(
    balance_cents: int,
    j: Decimal,
    compounding: Compounding,
    frequency: Frequency,
    basis: BiweeklyBasis,
    n: Fraction,
) -> int:
    """The level payment that retires `balance_cents` in `n` payments of the frequency.

    A = B*i / (1 - (1+i)^-n), rounded half up; `n` may be a fraction.
    Accelerated payments are the unrounded monthly payment over 2 or 4. With
    basis `annual-total` a semi-monthly, biweekly or weekly payment is the
    unrounded monthly payment x 12/p; with `annuity` it is solved at p payments
    a year. The remaining months of such a loan are n x 12/p.
    Raises ValueError when `n` is not positive: nothing is left to spread over.
    """
    if n <= 0:
        raise ValueError("no payments are left to spread the balance over")
    p = PAYMENTS_A_YEAR[frequency]
    monthly_share = _share_of_monthly(frequency, basis)
    if monthly_share is None:
        periodic = periodic_fraction(j, compounding, frequency)
        return _rounded(_annuity(balance_cents, periodic, n), Fraction(1))
    monthly = periodic_fraction(j, compounding, "monthly")
    return _rounded(_annuity(balance_cents, monthly, n * 12 / p), monthly_share)


def _share_of_monthly(frequency: Frequency, basis: BiweeklyBasis) -> Fraction | None:
    """The part of a monthly payment that one payment is, or None when it is solved directly."""
    if frequency in ACCELERATED:
        return Fraction(1, ACCELERATED[frequency])
    if frequency != "monthly" and basis == "annual-total":
        return Fraction(12, PAYMENTS_A_YEAR[frequency])
    return None


def contractual_payments(mortgage: Mortgage) -> Fraction:
    """n: the payments of the whole contract, amortization months x p/12; may be a fraction."""
    return Fraction(mortgage.amortization_months * PAYMENTS_A_YEAR[mortgage.frequency], 12)


def scheduled_date(mortgage: Mortgage, index: int) -> date:
    """The date of scheduled payment `index`, counted from 0 at `first_payment`.

    Monthly dates are clipped to the month's end from the first payment's own
    day; semi-monthly payments fall on that day and fifteen days later.
    """
    first = mortgage.first_payment
    frequency = mortgage.frequency
    if frequency in _STEP_DAYS:
        return first + timedelta(days=_STEP_DAYS[frequency] * index)
    late = 0
    if frequency == "semi-monthly":
        index, odd = divmod(index, 2)
        late = 15 * odd
    month = first.year * 12 + first.month - 1 + index
    return day_in_month(month // 12, month % 12 + 1, first.day + late)


def payments_before(mortgage: Mortgage, day: date) -> int:
    """How many scheduled payments fall before a day (0 when none)."""
    first = mortgage.first_payment
    if day <= first:
        return 0
    frequency = mortgage.frequency
    if frequency in _STEP_DAYS:
        return math.ceil((day - first).days / _STEP_DAYS[frequency])
    months = (day.year - first.year) * 12 + day.month - first.month
    per_month = 2 if frequency == "semi-monthly" else 1
    count = max(0, months * per_month)
    while scheduled_date(mortgage, count) < day:
        count += 1
    return count


def scheduled_dates(mortgage: Mortgage, start: date, end: date) -> tuple[date, ...]:
    """The scheduled payment dates from `start` to `end`, both included.

    The schedule has no end of its own: whether a balance is left to pay on a
    date is for the caller to know.
    """
    dates: list[date] = []
    index = payments_before(mortgage, start)
    day = scheduled_date(mortgage, index)
    while day <= end:
        dates.append(day)
        index += 1
        day = scheduled_date(mortgage, index)
    return tuple(dates)


def amount_due(payment: int, owed: int, number: int, contractual: Fraction) -> int:
    """What is paid on a payment date, in cents.

    `owed` is balance plus interest, `number` counts payments from 1 at the
    first. A payment never exceeds what is owed. From the last contractual
    payment on, a rest below twice the payment is paid whole, so that the cents
    that rounding leaves do not make one payment more.
    """
    if number >= math.ceil(contractual) and owed < 2 * payment:
        return owed
    return min(payment, owed)


def trigger_rate(
    payment: int, balance_cents: int, compounding: Compounding, frequency: Frequency
) -> Decimal:
    """The yearly rate at which a payment covers the interest alone.

    j* = k * ((1 + A/B)^(p/k) - 1)

    which is A*p/B when interest compounds monthly and is paid monthly, and
    2*((1 + A/B)^(p/2) - 1) for half-yearly compounding. Raises ValueError
    without a balance.
    """
    if balance_cents <= 0:
        raise ValueError("a trigger rate needs a balance")
    k = {"semi-annual": 2, "monthly": 12, "annual": 1}[compounding]
    p = PAYMENTS_A_YEAR[frequency]
    base = as_decimal(1 + Fraction(payment, balance_cents))
    grown = WIDE.power(base, as_decimal(Fraction(p, k)))
    return WIDE.multiply(Decimal(k), WIDE.subtract(grown, Decimal(1)))


def simple_trigger_rate(payment: int, balance_cents: int, frequency: Frequency) -> Decimal:
    """The trigger rate as lenders quote it, without compounding: A x p / B."""
    if balance_cents <= 0:
        raise ValueError("a trigger rate needs a balance")
    return as_decimal(Fraction(payment * PAYMENTS_A_YEAR[frequency], balance_cents))
