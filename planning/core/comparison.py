"""The plan beside its alternatives: net worth, loss cases, break-even, purpose figures.

Everything is a decimal string, with the assumptions it rests on, for the
report's key "comparison". Projections, not promises: leverage magnifies losses.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from fractions import Fraction

from planning.core.comparison_cases import (
    Case,
    Cases,
    build_cases,
    effective_rates,
    gain_rate,
    shocked_value,
    with_growth,
    with_rate_shock,
    without_reborrowing,
)
from planning.core.flat_tax import flat_tax
from planning.core.money import text_from_cents
from planning.core.plan import run_plan
from planning.core.plan_types import OpeningClasses, PlanResult
from planning.core.purpose import PurposeFigures, purpose_figures
from planning.core.types import Household, MarginalRates

RETURN_SHOCK = Fraction(-3, 10)
RATE_SHOCK = Decimal("0.03")
_GROWTH_RANGE = (Decimal("-0.20"), Decimal("0.30"))
_GROWTH_STEP = Decimal("0.0001")
_FIRST_STRIDE = Decimal("0.02")
_TRIALS = 12

Traced = Mapping[str, OpeningClasses] | None


def comparison(
    household: Household,
    plan_result: PlanResult,
    opening_classes: Traced = None,
    *,
    file: str = "",
    break_even: bool = True,
) -> dict[str, object]:
    """The comparison of a plan already run; empty without a plan.

    Cases: (plan) as simulated; (ordinary) the same mortgage without
    re-borrowing; (prepayments) the same cash put into prepayments. Beside them
    a fall of 30% in prices on the last day, rates 3 points higher from the
    start, and both. `break_even` False leaves out the search for the growth
    at which the plan only equals the prepayments.
    """
    plan = household.plan
    if plan is None or not plan_result.rows:
        return {}
    file = file or household.ref
    rates = effective_rates(household, file)
    cases = build_cases(household, plan_result, rates, opening_classes, file=file)
    shocked = with_rate_shock(household, RATE_SHOCK)
    dear = build_cases(
        shocked, run_plan(shocked, opening_classes, file=file), rates, opening_classes, file=file
    )
    gains = gain_rate(rates)
    figures = purpose_figures(household, plan_result, cases.ordinary.result, rates)
    shown: dict[str, object] = {
        "horizon": plan_result.rows[-1].month,
        "assumptions": _assumptions(household, rates, figures),
        "cash_paid_in": text_from_cents(cases.cash_total),
        **_worth(cases, gains),
        "loss_cases": {
            "returns": {"price_change": "-0.30", **_worth(cases, gains, RETURN_SHOCK)},
            "rates": {
                "rate_change": "0.03",
                "cash_paid_in": text_from_cents(dear.cash_total),
                **_worth(dear, gains),
            },
            "both": {
                "price_change": "-0.30",
                "rate_change": "0.03",
                **_worth(dear, gains, RETURN_SHOCK),
            },
        },
        "conversion": {
            "plan": cases.plan.paid_off,
            "ordinary": cases.ordinary.paid_off,
            "prepayments": cases.prepayments.paid_off,
        },
        "gaar": figures.as_json(),
    }
    if break_even:
        shown["break_even"] = _break_even(household, opening_classes, rates, file)
    return shown


def gaar_figures(
    household: Household,
    plan_result: PlanResult,
    opening_classes: Traced = None,
    *,
    file: str = "",
) -> PurposeFigures:
    """The two purpose figures alone, for callers that do not need the comparison."""
    file = file or household.ref
    rates = effective_rates(household, file)
    alone = without_reborrowing(household)
    ordinary = run_plan(alone, opening_classes, file=file)
    return purpose_figures(household, plan_result, ordinary, rates)


def _worth(cases: Cases, gains: Fraction, shock: Fraction = Fraction(0)) -> dict[str, object]:
    """Each case at the horizon and the plan's lead over the others, after tax."""
    named: tuple[tuple[str, Case], ...] = (
        ("plan", cases.plan),
        ("ordinary", cases.ordinary),
        ("prepayments", cases.prepayments),
    )
    shown: dict[str, object] = {}
    after: dict[str, int] = {}
    for name, case in named:
        before, after[name] = case.net_worth(gains, shock)
        shown[name] = {
            "net_worth_before_tax": text_from_cents(before),
            "net_worth_after_tax": text_from_cents(after[name]),
            "portfolio": text_from_cents(shocked_value(case.portfolio, shock)),
            "savings": text_from_cents(shocked_value(case.savings, shock)),
            "cash": text_from_cents(case.cash),
            "mortgage": text_from_cents(case.mortgage),
            "line": text_from_cents(case.line),
        }
    shown["lead_over_ordinary"] = text_from_cents(after["plan"] - after["ordinary"])
    shown["lead_over_prepayments"] = text_from_cents(after["plan"] - after["prepayments"])
    return shown


def _break_even(
    household: Household, traced: Traced, rates: MarginalRates, file: str
) -> dict[str, str | None]:
    """The yearly price growth at which plan and prepayments end equal after tax.

    Searched to a basis point with flat tax rates; null when no growth from -20%
    to 30% a year makes them equal.
    """
    tax = flat_tax(rates)
    gains = gain_rate(rates)

    def lead(growth: Decimal) -> int:
        trial = with_growth(household, growth)
        result = run_plan(trial, traced, tax_of_year=tax, file=file)
        cases = build_cases(trial, result, rates, traced, tax, file)
        return cases.plan.net_worth(gains)[1] - cases.prepayments.net_worth(gains)[1]

    plan = household.plan
    assert plan is not None
    found = _root(lead, plan.investment.growth_annual)
    if found is None:
        return {"growth": None, "total_return": None}
    total = found + sum((rate for _, rate in plan.investment.yields_annual), Decimal(0))
    return {
        "growth": f"{found.quantize(_GROWTH_STEP):f}",
        "total_return": f"{total.quantize(_GROWTH_STEP):f}",
    }


def _bracket(
    lead: Callable[[Decimal], int], start: Decimal
) -> tuple[Decimal, int, Decimal, int] | None:
    """Two growths around the point where a rising lead crosses zero, walking out from `start`."""
    lowest, highest = _GROWTH_RANGE
    near = min(max(start, lowest), highest)
    at_near = lead(near)
    stride = _FIRST_STRIDE if at_near < 0 else -_FIRST_STRIDE
    while True:
        far = min(max(near + stride, lowest), highest)
        if far == near:
            return None
        at_far = lead(far)
        if (at_far < 0) != (at_near < 0):
            ends = sorted(((near, at_near), (far, at_far)))
            return (*ends[0], *ends[1])
        near, at_near, stride = far, at_far, stride * 2


def _root(lead: Callable[[Decimal], int], start: Decimal) -> Decimal | None:
    """Where a rising function crosses zero, by false position with halving (Illinois)."""
    around = _bracket(lead, start)
    if around is None:
        return None
    low, high = around[0], around[2]
    at_low, at_high = Fraction(around[1]), Fraction(around[3])
    if at_low == at_high:
        return None
    side = 0
    middle = low
    for _ in range(_TRIALS):
        weight = Fraction(-at_low) / (at_high - at_low)
        exact = Fraction(low) + weight * Fraction(high - low)
        middle = (Decimal(exact.numerator) / Decimal(exact.denominator)).quantize(Decimal("1e-6"))
        value = Fraction(lead(middle))
        if value == 0 or high - low <= _GROWTH_STEP / 2:
            break
        if value < 0:
            settled = abs(middle - low) < _GROWTH_STEP / 4
            low, at_low = middle, value
            at_high = at_high / 2 if side < 0 else at_high
            side = -1
        else:
            settled = abs(high - middle) < _GROWTH_STEP / 4
            high, at_high = middle, value
            at_low = at_low / 2 if side > 0 else at_low
            side = 1
        if settled:
            break
    return middle


def _assumptions(
    household: Household, rates: MarginalRates, figures: PurposeFigures
) -> dict[str, object]:
    plan = household.plan
    assert plan is not None
    return {
        "growth": f"{plan.investment.growth_annual:f}",
        "yields": {kind: f"{rate:f}" for kind, rate in plan.investment.yields_annual},
        "tax_rates": {"ordinary": f"{rates.ordinary:f}"}
        | {str(kind): f"{rate:f}" for kind, rate in rates.by_kind},
        "tax_rates_from": "file" if plan.marginal is not None else "returns",
        "discount": f"{figures.discount:f}",
        "same_cash": "every month the larger of what the plan and the ordinary mortgage take",
        "unused_cash": "invested in the same portfolio out of own money, its income taxed yearly",
        "prepayments": "spare cash is prepaid on the next payment date, within the privilege",
        "sale": "everything is sold on the last day; a loss saves no tax",
        "opening_cost": "accounts are taken to have cost what they are worth at the start",
        "home": "left out: the same in every case",
        "last_saving": "a refund falling after the horizon is left out",
    }
