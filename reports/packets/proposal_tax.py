"""The plan's tax, year by year: tax before less tax after, never deduction x one rate."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from planning.core.money import round_half_up, text_from_cents
from planning.core.plan_types import PlanResult, PlanYear
from planning.core.tax.engine import Income, tax
from planning.core.tax.household import HouseholdTax, household_tax
from planning.core.tax.parameters import indexed, known_years
from planning.core.types import Household


def tax_rows(household: Household, result: PlanResult) -> dict[str, Any]:
    """Every calendar year of the plan with its deduction, income and saving.

    With the members' returns (`method` "returns") `before` and `after` are all
    members' tax without and with the plan, and saving = before - after. With the
    file's flat rates ("flat") there are no returns: `relief` is the ordinary rate
    on the interest deducted, `on_income` the tax on the portfolio's income, and
    saving = relief - on_income. Both are the plan's own figures, to the cent.
    """
    plan = household.plan
    assert plan is not None
    known = known_years()
    flat = plan.marginal is not None
    engine = None if flat or not _can_be_taxed(result) else household_tax(household, household.ref)
    rows = []
    for year in result.years:
        row = {
            "year": str(year.year),
            "deduction": text_from_cents(year.deduction),
            "income": text_from_cents(sum(amount for _, amount in year.income)),
            "saving": text_from_cents(year.saving),
        }
        if engine is not None:
            row |= _by_returns(engine, year)
        elif plan.marginal is not None:
            relief = round_half_up(Fraction(plan.marginal.ordinary) * year.deduction)
            row |= {
                "relief": text_from_cents(relief),
                "on_income": text_from_cents(relief - year.saving),
            }
        rows.append(row)
    return {
        "method": "flat" if flat else "returns",
        "rows": rows,
        "deduction": text_from_cents(sum(one.deduction for one in result.years)),
        "saving": text_from_cents(sum(one.saving for one in result.years)),
        "law_from": str(known[0]),
        "law_to": str(known[-1]),
        "members": [
            {
                "name": one.name,
                "province": one.province,
                "income": text_from_cents(one.income[-1][1]) if one.income else None,
                "year": str(one.income[-1][0]) if one.income else None,
            }
            for one in household.members
        ],
    }


def _can_be_taxed(result: PlanResult) -> bool:
    return any(one.deduction or one.income or one.saving for one in result.years)


def _by_returns(engine: HouseholdTax, year: PlanYear) -> dict[str, str]:
    """All members' tax of a year without and with the plan, pools carried on."""
    law = indexed(year.year, engine.inflation)
    income = dict(year.income)
    before = after = 0
    for member, ordinary, whole in engine.incomes(year.year, year.deduction, income):
        pool = engine.pools.get(member.ref, 0)
        before += tax(law, member.province, Income(ordinary_cents=ordinary)).total_cents
        after += tax(law, member.province, whole, pool_cents=pool).total_cents
    engine(year.year, year.deduction, income)
    return {"before": text_from_cents(before), "after": text_from_cents(after)}
