"""Mortgage, room and line figures that other people published.

Each figure stands with its source and edition. "Computed" marks figures of our
own, from the closed form or from the published inputs where the publisher's
answer page could not be read; "[from memory]" marks what was not re-read.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest

from planning.core.amortization import (
    amount_due,
    interest_cents,
    payment_cents,
    simple_trigger_rate,
    trigger_rate,
)
from planning.core.charges import (
    charge_estimate,
    three_months_compounded_cents,
    three_months_interest_cents,
)
from planning.core.line_interest import posted_interest_cents
from planning.core.rates import periodic_rate, qualifying_rate, root_growth
from planning.core.room import (
    cap65_cents,
    global_limit_cents,
    limit_cents,
    opening_excess_cents,
    principal_to_excess_cents,
    room_cents,
)
from planning.core.types import Compounding, ExcessRule, Facility, Frequency

PER_YEAR = {"monthly": 12, "biweekly": 26, "weekly": 52, "semi-monthly": 24}


def payment(
    principal: str,
    years: int,
    rate: str,
    frequency: Frequency = "monthly",
    *,
    compounding: Compounding = "semi-annual",
    total: bool = False,
) -> int:
    """The level payment in cents for dollars over whole years."""
    p = PER_YEAR[frequency.removeprefix("accelerated-")]
    basis = "annual-total" if total else "annuity"
    cents = int(Decimal(principal) * 100)
    return payment_cents(cents, Decimal(rate), compounding, frequency, basis, Fraction(years * p))


@dataclass(frozen=True)
class Run:
    """Totals of a schedule played out, in cents."""

    payments: int
    paid: int
    interest: int
    balance: int
    last: int


def play(
    balance: int,
    paying: int,
    rate: str,
    frequency: Frequency = "monthly",
    *,
    count: int = 100_000,
    lump_every: int = 0,
    lump: int = 0,
    compounding: Compounding = "semi-annual",
) -> Run:
    """A schedule rounded at each period; `lump` is paid at the start of every `lump_every`."""
    periodic = periodic_rate(Decimal(rate), compounding, frequency)
    paid = interest = number = last = 0
    while balance and number < count:
        if lump_every and number % lump_every == 0:
            balance -= lump
        due = interest_cents(balance, periodic)
        last = amount_due(paying, balance + due, number + 1, Fraction(100_000))
        balance -= last - due
        paid += last
        interest += due
        number += 1
    return Run(number, paid, interest, balance, last)


PAYMENTS = [
    # M-1 HP 12C, support note "Canadian mortgages"
    ("30000", 30, "0.09", "monthly", 23785),
    # M-3 same publisher, inputs published (612.77 a month, 25 years); the rate is computed
    ("75500", 25, "0.0875", "monthly", 61277),
    # M-4 HP 10bII+ user's guide, p. 146
    ("130000", 30, "0.12", "monthly", 130830),
    # M-5 HP 30b user's guide, p. 36, inputs published; the answer is computed
    ("350000", 25, "0.06", "monthly", 223932),
    # M-6, M-7, M-8, M-9 eFunda, "Canadian mortgage" calculator page
    ("200000", 15, "0.075", "monthly", 184103),
    ("200000", 15, "0.075", "biweekly", 84830),
    ("200000", 15, "0.075", "accelerated-biweekly", 92051),
    ("200000", 25, "0.075", "monthly", 146311),
    # M-10, M-11, M-12 Concentra Financial, mortgage prepayment guide
    ("150000", 25, "0.04", "monthly", 78903),
    ("150000", 25, "0.04", "accelerated-biweekly", 39452),
    ("150000", 25, "0.04", "accelerated-weekly", 19726),
    # M-13 business mathematics text, exercise on renewals (payment published)
    ("90000", 20, "0.0725", "monthly", 70551),
    # M-14 a mathematics help site's answer
    ("145000", 25, "0.05", "monthly", 84333),
    # Computed by the closed form: 500,000 over 25 years at 5%
    ("500000", 25, "0.05", "monthly", 290802),
    ("500000", 25, "0.05", "biweekly", 134068),
    ("500000", 25, "0.05", "accelerated-biweekly", 145401),
    ("500000", 25, "0.05", "accelerated-weekly", 72701),
    # As mortgagemath 0.7.1 (2026-05) gives them: 300,000 at 5.25%
    ("300000", 25, "0.0525", "monthly", 178775),
    ("300000", 25, "0.0525", "accelerated-biweekly", 89388),
]  # fmt: skip


@pytest.mark.parametrize(("principal", "years", "rate", "frequency", "expected"), PAYMENTS)
def test_level_payments(
    principal: str, years: int, rate: str, frequency: Frequency, expected: int
) -> None:
    assert payment(principal, years, rate, frequency) == expected


@pytest.mark.parametrize(
    ("frequency", "expected"),
    [("semi-monthly", 145401), ("biweekly", 134217), ("weekly", 67108)],
)
def test_payments_that_keep_the_yearly_total(frequency: Frequency, expected: int) -> None:
    """FCAC booklet definitions: A/2, A x 12/26, A x 12/52. Computed, 500,000 at 5%, 25 years."""
    assert payment("500000", 25, "0.05", frequency, total=True) == expected


def test_m7_the_two_readings_of_biweekly_differ() -> None:
    """FCAC keeps the annual total: 849.70 computed; the annuity at 26 a year: 848.30 (eFunda)."""
    assert payment("200000", 15, "0.075", "biweekly", total=True) == 84970
    assert payment("200000", 15, "0.075", "biweekly") == 84830


def test_m19_frequencies_of_a_thousand_a_month() -> None:
    """FCAC booklet: accelerated biweekly 500.00, 13,000 a year; biweekly 12,000/26 = 461.54.

    One lender's page prints 461.59, which is not 12,000/26.
    """
    assert payment("12000", 1, "0") == 100000
    assert payment("12000", 1, "0", "accelerated-biweekly") == 50000
    assert payment("12000", 1, "0", "accelerated-biweekly") * 26 == 1300000
    assert payment("12000", 1, "0", "biweekly", total=True) == 46154


def test_periodic_rates() -> None:
    """M-1 i about 0.74%; M-4 effective 12.36%, monthly nominal 11.71%; M-14 0.0041239(15)."""
    assert round(periodic_rate(Decimal("0.09"), "semi-annual", "monthly"), 4) == Decimal("0.0074")
    twelve = periodic_rate(Decimal("0.12"), "semi-annual", "monthly")
    assert round(twelve * 12, 4) == Decimal("0.1171")
    assert round(root_growth(Decimal("0.06"), Fraction(2)), 4) == Fraction("0.1236")
    five = periodic_rate(Decimal("0.05"), "semi-annual", "monthly")
    assert round(five, 12) == Decimal("0.004123915465")
    # M-21: a homework site prints 0.003417 for 4.15%, which is wrong.
    homework = periodic_rate(Decimal("0.0415"), "semi-annual", "monthly")
    assert round(homework, 7) == Decimal("0.0034288")
    # Computed to forty digits from the closed form: 5.25%, half-yearly, paid monthly.
    assert round(periodic_rate(Decimal("0.0525"), "semi-annual", "monthly"), 14) == Decimal(
        "0.00432790206470"
    )


def test_m2_payments_to_retire_a_loan() -> None:
    """HP 12C support note: 56,000 at 9.25%, 440 a month: 437 payments; the last is computed."""
    run = play(5600000, 44000, "0.0925")
    assert (run.payments, run.last) == (437, 15184)


def test_m6_to_m9_totals() -> None:
    """eFunda totals, worked there without rounding each period: within a dollar of ours.

    M-8 prints 311,242.27; we get 311,242.37 in 339 payments.
    """
    monthly = play(20000000, 184103, "0.075")
    assert abs(monthly.paid - 33138492) < 100
    biweekly = play(20000000, 84830, "0.075", "biweekly")
    assert abs(biweekly.paid - 33083755) < 100
    faster = play(20000000, 92051, "0.075", "accelerated-biweekly")
    assert (faster.payments, faster.paid) == (339, 31124237)
    assert abs(faster.paid - 31124227) <= 15
    long = play(20000000, 146311, "0.075")
    assert abs(long.paid - 43893295) < 200


@pytest.mark.parametrize(
    ("frequency", "per_year", "paying", "interest", "balance"),
    [
        ("monthly", 12, 78903, 2152620, 7418440),
        ("accelerated-biweekly", 26, 39452, 2106524, 6977764),
        ("accelerated-weekly", 52, 19726, 2104372, 6975612),
    ],
)
def test_m10_to_m12_lump_sums(
    frequency: Frequency, per_year: int, paying: int, interest: int, balance: int
) -> None:
    """Concentra Financial, prepayment guide: 150,000 at 4%, 10,000 at the start of each of
    five years; interest and balance to the cent, which only rounding each period gives.
    """
    run = play(
        15000000, paying, "0.04", frequency, count=5 * per_year, lump_every=per_year, lump=1000000
    )
    assert (run.interest, run.balance) == (interest, balance)
    if frequency == "monthly":
        assert 15000000 - run.balance == 7581560  # principal of the guide's monthly column


def test_m13_renewal() -> None:
    """Same exercise: balance after five years and the renewed payment are computed."""
    run = play(9000000, 70551, "0.0725", count=60)
    assert run.balance == 7779883
    renewed = payment_cents(
        run.balance, Decimal("0.065"), "semi-annual", "monthly", "annuity", Fraction(180)
    )
    assert renewed == 67403


def test_m21_a_stated_payment() -> None:
    """225,000 at 4.15%, 1,500 a month: 211 payments, interest 91,485.36 (computed)."""
    run = play(22500000, 150000, "0.0415")
    assert (run.payments, run.interest) == (211, 9148536)


def test_house_vectors_over_five_years() -> None:
    """Computed: 500,000, 25 years, 5% half-yearly and 5% monthly."""
    half = play(50000000, 290802, "0.05", count=60)
    assert (half.interest, half.balance) == (11701911, 44253791)
    first = play(50000000, 290802, "0.05", count=1)
    assert (first.interest, first.paid - first.interest) == (206196, 84606)
    assert payment("500000", 25, "0.05", compounding="monthly") == 292295
    monthly = play(50000000, 292295, "0.05", count=60, compounding="monthly")
    assert monthly.balance == 44290094
    opening = play(50000000, 292295, "0.05", count=1, compounding="monthly")
    assert (opening.interest, opening.paid - opening.interest) == (208333, 83962)
    fast = play(50000000, 145401, "0.05", "accelerated-biweekly")
    assert (fast.payments, fast.last) == (559, 63506)


def test_mortgagemath_rows() -> None:
    """300,000 at 5.25%, 25 years, row by row as mortgagemath 0.7.1 (2026-05) gives it."""
    rows = [play(30000000, 178775, "0.0525", count=count) for count in (1, 12, 60)]
    assert (rows[0].interest, rows[0].balance) == (129837, 29951062)
    assert rows[1].balance == 29398562
    assert rows[2].balance == 26655441
    periodic = periodic_rate(Decimal("0.0525"), "semi-annual", "monthly")
    balance, paid = 30000000, 0
    last = 0
    for number in range(1, 301):
        due = interest_cents(balance, periodic)
        last = amount_due(178775, balance + due, number, Fraction(300))
        balance -= last - due
        paid += last
    assert balance == 0
    assert last == 179025
    assert paid - 30000000 == 23632750


def test_m15_to_m17_charges() -> None:
    """IG Wealth Management, prepayment examples: 285,250 at 3%, 31 months left, 2.5% reinvested."""
    assert three_months_interest_cents(28525000, Decimal("0.03")) == 213938
    assert three_months_interest_cents(3500000, Decimal("0.03")) == 26250
    estimate = charge_estimate(28525000, Decimal("0.03"), Decimal("0.025"), 31)
    assert (estimate.charge_cents, estimate.basis) == (368448, "differential")
    assert "estimate" in estimate.note.lower()
    variable = charge_estimate(28525000, Decimal("0.03"), None, 31)
    assert (variable.charge_cents, variable.basis) == (213938, "three-months")


def test_three_months_simple_and_compounded() -> None:
    """Computed: 200,000 at 6%, B x j/4 against half-yearly compounding."""
    assert three_months_interest_cents(20000000, Decimal("0.06")) == 300000
    assert three_months_compounded_cents(20000000, Decimal("0.06")) == 297783


def test_trigger_rates() -> None:
    """M-18 broker note: 500,000, 1,000 biweekly: 5.20%. Computed: 2,058.95 monthly: 4.941%.

    Bank of Canada, Staff Analytical Note 2022-19 gives the definition.
    """
    assert simple_trigger_rate(100000, 50000000, "biweekly") == Decimal("0.052")
    monthly = trigger_rate(205895, 50000000, "monthly", "monthly")
    assert round(monthly, 5) == Decimal("0.04941")
    assert payment_cents(
        50000000, Decimal("0.0175"), "monthly", "monthly", "annuity", Fraction(300)
    ) == 205895  # fmt: skip
    half = trigger_rate(205895, 50000000, "semi-annual", "monthly")
    periodic = periodic_rate(half, "semi-annual", "monthly")
    assert interest_cents(50000000, periodic) == 205895


def facility(rule: ExcessRule = "excess-first") -> Facility:
    """Value on file 1,000,000: the cap is 650,000."""
    return Facility(
        lender_value_cents=100000000,
        valued_on=None,
        registered_limit_cents=100000000,
        revolving_cap=Decimal("0.65"),
        line_cap_cents=65000000,
        excess_rule=rule,
        capitalised_interest="compounding",
        interest_method="paid",
    )


@pytest.mark.parametrize(
    ("rule", "mortgage", "excess", "principal", "before", "after"),
    [
        # (a) at 80%: the payment only lowers the limit
        ("excess-first", 80000000, 15000000, 130000, 0, 0),
        # (b) under the cap: dollar for dollar
        ("excess-first", 60000000, 0, 130000, 5000000, 5130000),
        # (c) a lender that spreads it: A falls by 100, room opens by 1,300
        ("proportional", 70000000, 5000000, 140000, 0, 130000),
        # (d) the plan reaches the cap: the next payment frees all of itself
        ("excess-first", 65000000, 0, 150000, 0, 150000),
    ],
)
def test_room(
    rule: ExcessRule, mortgage: int, excess: int, principal: int, before: int, after: int
) -> None:
    """Computed from OSFI B-20 and the advisory of 28 June 2022, value on file 1,000,000."""
    one = facility(rule)
    assert cap65_cents(one) == 65000000
    assert opening_excess_cents(one, mortgage, 0) == excess
    assert room_cents(limit_cents(one, mortgage, excess), 0) == before
    sent = principal_to_excess_cents(rule, principal, excess, mortgage)
    limit = limit_cents(one, mortgage - principal, excess - sent)
    assert room_cents(limit, 0) == after
    if rule == "excess-first" and excess:
        assert global_limit_cents(one, excess - sent) == 79870000
    if rule == "proportional":
        assert (excess - sent, mortgage - principal) == (4990000, 69860000)


def test_negative_principal_frees_no_room_and_leaves_the_excess() -> None:
    for rule in ("excess-first", "proportional", "none"):
        assert principal_to_excess_cents(rule, -5000, 100000, 70000000) == 0


@pytest.mark.parametrize(
    ("contract", "expected"),
    [("0.0300", "0.0525"), ("0.0335", "0.0535"), ("0.0409", "0.0609"), ("0.0450", "0.0650")],
)
def test_qualifying_rate(contract: str, expected: str) -> None:
    """OSFI, minimum qualifying rate: the greater of contract + 2% and 5.25%."""
    assert qualifying_rate(Decimal(contract)) == Decimal(expected)


def test_line_interest() -> None:
    """M-20, a personal-finance explainer: 1,000 for 10 days, 500 for 21, 5%: 2.81.

    Computed: 80,000 at 6.95% for 31 days, 472.22, not 463.33 (a twelfth of a year).
    """
    five = Decimal("0.05")
    stretches = (
        (date(2025, 1, 1), date(2025, 1, 11), 100000, five),
        (date(2025, 1, 11), date(2025, 2, 1), 50000, five),
    )
    assert posted_interest_cents(stretches, "365") == 281
    month = (date(2025, 3, 1), date(2025, 4, 1), 8000000, Decimal("0.0695"))
    assert posted_interest_cents([month], "365") == 47222


def test_leap_year_basis() -> None:
    """A contract on the year's own days counts 2024 over 366 and splits at New Year."""
    leap = (date(2024, 3, 1), date(2024, 4, 1), 8000000, Decimal("0.0695"))
    assert posted_interest_cents([leap], "365") == 47222
    assert posted_interest_cents([leap], "actual") == 47093
    across = (date(2024, 12, 17), date(2025, 1, 16), 36500000, Decimal("0.0366"))
    # 15 nights over 366 and 15 over 365: 547.50 + 549.00
    assert posted_interest_cents([across], "actual") == 109650
