"""What the plan loses when things go wrong, beside the ordinary mortgage.

In dollars after tax if everything is sold: rates 3 points higher
throughout, both that and prices 30% lower on the last day (the comparison's
own), prices 30% lower at the year's end at which that hurts most, and ten years
in which prices stand still. None of them is the worst that can happen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

from planning.core.comparison import RETURN_SHOCK
from planning.core.comparison_cases import (
    Cases,
    build_cases,
    effective_rates,
    gain_rate,
    shocked_value,
)
from planning.core.money import cents_from_text, text_from_cents
from planning.core.months import last_day, month_of, months_between, shift_month
from planning.core.plan import run_plan
from planning.core.plan_investment import MonthReturn
from planning.core.plan_types import OpeningClasses, PlanResult
from planning.core.types import Household
from reports.packets.proposal_parts import year_ends
from reports.packets.values import Json

FLAT_MONTHS = 120
Traced = Mapping[str, OpeningClasses] | None


def loss_cases(
    household: Household, result: PlanResult, compared: Json, traced: Traced
) -> dict[str, Any]:
    """The loss cases and the break-even return of a plan already run and compared.

    `compared` is the comparison's JSON.
    Leads are the plan's net worth less the other's, negative when it is behind.
    """
    shocks = compared["loss_cases"]
    return {
        "rates": _leads(shocks["rates"]),
        "last_day": _leads(shocks["returns"]),
        "both": _leads(shocks["both"]),
        "worst_month": worst_month(household, result, traced),
        "flat_decade": flat_decade(household, traced),
        "break_even": dict(compared["break_even"]),
    }


def worst_month(household: Household, result: PlanResult, traced: Traced) -> dict[str, str]:
    """A fall of prices by 30% at the year's end that leaves the plan furthest behind.

    Each December and the last month are tried: the plan ends there, prices fall,
    everything is sold. The worst is the least lead over the ordinary mortgage.
    `below_line` is by how much the portfolio would stand below the line (0.00
    when it would not).
    """
    rates = effective_rates(household, household.ref)
    gains = gain_rate(rates)
    found: list[tuple[int, int, dict[str, str]]] = []
    for index in year_ends(result.rows):
        shorter = _until(household, index + 1)
        cases = build_cases(shorter, run_plan(shorter, traced), rates, traced, file=household.ref)
        leads = _worth(cases, gains, RETURN_SHOCK)
        found.append((cents_from_text(leads["lead_over_ordinary"]), index, leads))
    _, index, leads = min(found, key=lambda one: one[:2])
    row = result.rows[index]
    portfolio = shocked_value(row.portfolio_closing, RETURN_SHOCK)
    return {
        "month": row.month,
        "portfolio": text_from_cents(portfolio),
        "line": text_from_cents(row.line_closing),
        "below_line": text_from_cents(max(0, row.line_closing - portfolio)),
        **leads,
    }


def _until(household: Household, months: int) -> Household:
    """The household with its plan cut short; extras beyond the cut are dropped."""
    plan = household.plan
    assert plan is not None
    ends = last_day(shift_month(month_of(plan.starts), months - 1))
    extras = tuple(one for one in plan.extras if one.on <= ends)
    return replace(household, plan=replace(plan, months=months, extras=extras))


def flat_decade(household: Household, traced: Traced) -> dict[str, str]:
    """Prices that do not rise for the plan's first ten years (or all of a shorter plan).

    Distributions are paid as assumed; after the ten years prices grow as assumed.
    """
    plan = household.plan
    assert plan is not None
    months = min(FLAT_MONTHS, plan.months)
    paid = tuple(
        (kind, Fraction(rate) / 12) for kind, rate in plan.investment.yields_annual if rate
    )
    first = month_of(plan.starts)
    still = MonthReturn(growth=Fraction(0), yields=paid)
    market = dict.fromkeys(months_between(first, shift_month(first, months - 1)), still)
    rates = effective_rates(household, household.ref)
    result = run_plan(household, traced, market=market)
    cases = build_cases(household, result, rates, traced, file=household.ref, market=market)
    return {"months": str(months), **_worth(cases, gain_rate(rates), Fraction(0))}


def _leads(case: Json) -> dict[str, str]:
    return {name: str(case[name]) for name in ("lead_over_ordinary", "lead_over_prepayments")}


def _worth(cases: Cases, gains: Fraction, shock: Fraction) -> dict[str, str]:
    plan = cases.plan.net_worth(gains, shock)[1]
    return {
        "lead_over_ordinary": text_from_cents(plan - cases.ordinary.net_worth(gains, shock)[1]),
        "lead_over_prepayments": text_from_cents(
            plan - cases.prepayments.net_worth(gains, shock)[1]
        ),
    }
