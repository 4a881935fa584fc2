"""Laws of every mortgage and of the room it frees, whatever its terms."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from fractions import Fraction
from math import ceil
from typing import Any

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from planning.core.amortization import contractual_payments, interest_cents, payment_cents
from planning.core.money import round_half_up, text_from_cents
from planning.core.plan import run_plan
from planning.core.plan_types import PlanPayment, PlanResult
from planning.core.rates import periodic_rate
from planning.core.types import Household
from tests.examples import examples
from tests.planning.core.plan_cases import household

FREQUENCIES = (
    "monthly", "semi-monthly", "biweekly", "weekly", "accelerated-biweekly", "accelerated-weekly",
)  # fmt: skip
EXCESS = ("excess-first", "proportional", "none")
BASIS_POINT = Decimal("0.0001")


def rate(points: int) -> str:
    """Basis points as the file writes a rate."""
    return f"{points * BASIS_POINT:f}"


@st.composite
def mortgages(draw: st.DrawFn) -> dict[str, Any]:
    """Changes that give the small household any mortgage of up to six years."""
    cents = draw(st.integers(1_000_000, 60_000_000))
    months = draw(st.integers(12, 72))
    frequency = draw(st.sampled_from(FREQUENCIES))
    return {
        "mortgages.0.original_principal": text_from_cents(cents),
        "mortgages.0.amortization_months": months,
        "mortgages.0.frequency": frequency,
        "mortgages.0.compounding": draw(st.sampled_from(("semi-annual", "monthly", "annual"))),
        "mortgages.0.biweekly_basis": draw(st.sampled_from(("annuity", "annual-total"))),
        "mortgages.0.first_payment": f"2025-01-{draw(st.integers(1, 13)):02d}",
        "mortgages.0.terms.0.starts": "2025-01-01",
        "mortgages.0.terms.0.matures": "2035-01-01",
        "mortgages.0.terms.0.rate": rate(draw(st.integers(0, 1500))),
        "mortgages.0.terms.0.payment": None,
        "facility.excess_rule": draw(st.sampled_from(EXCESS)),
        "facility.line_cap": text_from_cents(draw(st.integers(10_000_000, 65_000_000))),
        "plan.opening": {"mtg": text_from_cents(cents)},
        "plan.months": months + 2,
    }


def scheduled(result: PlanResult) -> list[PlanPayment]:
    """The scheduled payments, prepayments apart."""
    return [one for one in result.payments if one.payment]


def contractual(of: Household) -> int:
    """The number of the payment that may be the last."""
    return ceil(contractual_payments(of.mortgages[0]))


@settings(deadline=None, max_examples=examples(30))
@given(mortgages())
def test_nothing_is_owed_after_the_last_payment(change: dict[str, Any]) -> None:
    """P9: by the contract's last payment, or early where an accelerated payment is higher."""
    found = household(change)
    paid = scheduled(run_plan(found))
    assert paid[-1].balance == 0
    assert len(paid) <= contractual(found)
    usual = {one.payment for one in paid[:-1]}
    assert len(usual) <= 1, "every payment but the last is the same"
    if usual and len(paid) < contractual(found):
        assert paid[-1].payment <= usual.pop()
    elif usual:
        assert paid[-1].payment < 2 * usual.pop()


@settings(deadline=None, max_examples=examples(30))
@given(mortgages())
def test_a_payment_is_its_interest_and_its_principal(change: dict[str, Any]) -> None:
    """P10: each payment, and every month's row, to the cent."""
    found = household(change)
    result = run_plan(found)
    owed = found.mortgages[0].original_principal_cents
    for one in result.payments:
        assert one.payment in (0, one.interest + one.principal)
        owed -= one.principal + one.prepayment
        assert one.balance == owed
    for row in result.rows:
        assert row.payment == row.interest + row.principal
        assert row.mortgage_closing == row.mortgage_opening - row.principal - row.prepayment


@settings(deadline=None, max_examples=examples(30))
@given(mortgages())
def test_room_rises_by_the_principal_paid(change: dict[str, Any]) -> None:
    """P11: less what lowers the part above the cap; the limit, by that much where no cap binds."""
    found = household(change)
    result = run_plan(found)
    freed = sum(one.principal + one.prepayment - one.to_excess for one in result.payments)
    assert sum(row.room_freed for row in result.rows) == freed
    free = found.facility.line_cap_cents
    for before, after in zip(result.rows, result.rows[1:], strict=False):
        if after.limit < free and before.limit > 0:
            assert after.limit - before.limit == after.room_freed


@settings(deadline=None, max_examples=examples(60))
@given(
    cents=st.integers(1_000_000, 200_000_000),
    points=st.integers(1, 1500),
    compounding=st.sampled_from(("semi-annual", "monthly", "annual")),
    frequency=st.sampled_from(FREQUENCIES[:4]),
    number=st.integers(2, 200),
)
def test_the_closed_form_is_what_the_payments_come_to(
    cents: int, points: int, compounding: Any, frequency: Any, number: int
) -> None:
    """P12: B(1+i)^k - A((1+i)^k - 1)/i, within the half cents that k payments round away."""
    yearly = Decimal(points) * BASIS_POINT
    paying = payment_cents(cents, yearly, compounding, frequency, "annuity", Fraction(number))
    periodic = periodic_rate(yearly, compounding, frequency)
    balance = cents
    growth = Fraction(1)
    exact = Fraction(periodic)
    for _ in range(number):
        balance += interest_cents(balance, periodic) - paying
        # Far beyond a cent's reach, and short enough to stay quick.
        growth = Fraction(round_half_up(growth * (1 + exact) * 10**40), 10**40)
    spread = (growth - 1) / exact
    closed = cents * growth - paying * spread
    assert abs(balance - closed) <= spread / 2 + 1
    # The payment itself is rounded by at most half a cent, so little is left.
    assert abs(closed) <= spread / 2 + 1


@settings(deadline=None, max_examples=examples(20))
@given(mortgages(), st.integers(1, 300))
def test_a_higher_rate_never_costs_less_interest(change: dict[str, Any], more: int) -> None:
    """P13: with the payment solved for each rate."""
    low = Decimal(change["mortgages.0.terms.0.rate"])
    higher = {**change, "mortgages.0.terms.0.rate": f"{low + more * BASIS_POINT:f}"}
    one, two = (
        sum(row.interest for row in run_plan(household(each)).rows) for each in (change, higher)
    )
    assert two >= one


@settings(deadline=None, max_examples=examples(20))
@given(mortgages(), st.integers(3, 8))
def test_a_renewal_at_the_same_terms_changes_nothing(change: dict[str, Any], month: int) -> None:
    """P14: solved anew on a balance of whole cents, so the payment may differ by a cent.

    A share of the monthly payment (accelerated, annual total) is no level payment of
    its own schedule: there a renewal really does solve another payment.
    """
    assume(not change["mortgages.0.frequency"].startswith("accelerated"))
    months = max(36, change["mortgages.0.amortization_months"])
    same = {
        **change,
        "mortgages.0.amortization_months": months,
        "mortgages.0.biweekly_basis": "annuity",
        "plan.months": months + 2,
    }
    renewal = {
        "mortgage": "mtg",
        "on": date(2025, month, 1).isoformat(),
        "rate": change["mortgages.0.terms.0.rate"],
    }
    again = {**same, "plan.renewals": [renewal]}
    before, after = (scheduled(run_plan(household(each))) for each in (same, again))
    assert [one.date for one in before[:-2]] == [one.date for one in after[:-2]]
    for number, (one, two) in enumerate(zip(before[:-2], after[:-2], strict=True), start=1):
        assert one.rate == two.rate
        assert abs(one.payment - two.payment) <= 1
        assert abs(one.balance - two.balance) <= 3 * number
