"""The plain plan as a Decimal loop, amounts in cents: how one would write it first."""

from __future__ import annotations

from calendar import monthrange
from decimal import ROUND_HALF_UP, Decimal, localcontext

from planning.core.rates import periodic_rate
from planning.core.types import Household

ONE, ZERO = Decimal(1), Decimal(0)
KEYS = (
    *("interest", "line_interest", "deductible", "draw", "prepayment", "refund", "refused"),
    *("mortgage_closing", "line_closing", "portfolio_closing"),
)


def cents(value: Decimal) -> Decimal:
    """Rounded to the cent, halves away from zero."""
    return value.quantize(ONE, rounding=ROUND_HALF_UP)


def project(one: Household) -> tuple[int, ...]:
    """The totals and closing figures of one plan, in the order of KEYS."""
    with localcontext() as context:
        context.prec = 40
        return _project(one)


def _project(one: Household) -> tuple[int, ...]:  # noqa: C901 - one flat loop, as it would be
    plan, loan, facility = one.plan, one.mortgages[0], one.facility
    assert plan is not None
    assert plan.reborrow is not None
    assert plan.marginal is not None
    mortgage = Decimal(plan.opening[0][1])
    line = value = held = prepaid = saving = ZERO
    cap65 = cents(facility.revolving_cap * facility.lender_value_cents)
    line_cap = min(Decimal(facility.line_cap_cents), cap65)
    registered = Decimal(facility.registered_limit_cents)
    excess = max(ZERO, mortgage - cap65)
    reserve = Decimal(plan.reborrow.reserve_cents)
    privilege = cents(loan.prepayment_privilege * loan.original_principal_cents)
    rate = periodic_rate(loan.terms[0].rate_annual or ZERO, "semi-annual", "monthly")
    payment = cents(mortgage * rate / (1 - (1 + rate) ** -loan.amortization_months))
    renewals = {
        # A renewal takes hold after the payment of its own month.
        (day.on.year - plan.starts.year) * 12
        + day.on.month
        - plan.starts.month
        + 1: day.rate_annual
        for day in plan.renewals
    }
    line_rate = one.prime[0][1] + one.lines[0].spread
    with localcontext() as context:
        context.prec = 50
        growth_rate = (1 + plan.investment.growth_annual) ** (ONE / 12) - 1
    yields = [step for _kind, step in plan.investment.yields_annual]
    taxes = [dict(plan.marginal.by_kind)[kind] for kind, _step in plan.investment.yields_annual]
    year, number = plan.starts.year, plan.starts.month
    deducted = income_tax = ZERO
    interest_sum = line_sum = draw_sum = prepaid_sum = refund_sum = refused_sum = ZERO
    opening = value
    for month in range(plan.months):
        last = monthrange(year, number)[1]
        day = min(loan.first_payment.day, last)
        if number == 1:
            prepaid = ZERO
        paying = mortgage > 0
        if month in renewals:
            rate = periodic_rate(renewals[month], "semi-annual", "monthly")
        interest = cents(mortgage * rate)
        owed = mortgage + interest
        if month in renewals:
            left = loan.amortization_months - month
            payment = cents(mortgage * rate / (1 - (1 + rate) ** -left))
        paid = min(payment, owed)
        if month + 1 >= loan.amortization_months and owed < 2 * payment:
            paid = owed
        principal = paid - interest
        interest_sum += interest
        sent = min(principal, excess)
        excess -= sent
        mortgage -= principal
        freed = principal - sent
        offers = []
        if number == plan.refund_month:
            refund_sum += saving
            offers.append(max(ZERO, saving))
        if paying:
            offers.append(held)
            held = ZERO
        for offered in offers:
            taken = ZERO
            if paying:
                taken = max(ZERO, min(offered, privilege - prepaid, mortgage))
            prepaid += taken
            sent = min(taken, excess)
            excess -= sent
            mortgage -= taken
            freed += taken - sent
            prepaid_sum += taken
            refused_sum += offered - taken
        room = max(ZERO, min(line_cap, min(registered, cap65 + excess) - mortgage) - line)
        draw = min(freed, max(ZERO, room - reserve))
        before = line * (day if month else day - 1)
        line += draw
        value += draw
        draw_sum += draw
        posted = cents((before + line * (last - day)) * line_rate / 365)
        line_sum += posted
        deducted += posted
        growth = cents(opening * growth_rate)
        for step, tax in zip(yields, taxes, strict=True):
            income = cents(opening * step / 12)
            held += income
            income_tax += income * tax
        value += growth
        opening = value
        if number == 12 or month == plan.months - 1:
            saving = cents(plan.marginal.ordinary * deducted - income_tax)
            deducted = income_tax = ZERO
        number += 1
        if number > 12:
            year, number = year + 1, 1
    found = (
        *(interest_sum, line_sum, line_sum, draw_sum, prepaid_sum, refund_sum, refused_sum),
        *(mortgage, line, value),
    )
    return tuple(int(amount) for amount in found)
