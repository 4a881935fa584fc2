"""Invented books of plans, the same ones for every rival.

A plain plan: one mortgage paid monthly and renewed every five years, the line's
interest paid from cash, all freed room re-borrowed, distributions and refunds
prepaid. The loops the kernel is timed against know this plan and no other.
"""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date
from decimal import Decimal

from planning.core.types import (
    Facility,
    Household,
    Investment,
    Line,
    MarginalRates,
    Mortgage,
    Plan,
    PlanInvestment,
    Reborrow,
    Renewal,
    Term,
)

RATE = Decimal("0.0001")


def book(size: int, months: int = 300) -> list[Household]:
    """A book of so many households, each invented from its number."""
    return [household(number, months) for number in range(size)]


def household(number: int, months: int = 300) -> Household:
    """One household of the book."""
    dice = random.Random(number)
    value = dice.randrange(300_000_00, 1_500_000_00, 5_000_00)
    owed = value * dice.randrange(30, 80) // 100
    starts = date(2021 + number % 4, 1 + number // 4 % 12, 1)
    renewed = [date(starts.year + years, starts.month, 1) for years in range(5, 30, 5)]
    mortgage = Mortgage(
        ref="mtg",
        original_principal_cents=owed,
        first_payment=starts.replace(day=dice.randrange(1, 29)),
        amortization_months=300,
        frequency="monthly",
        compounding="semi-annual",
        biweekly_basis="annuity",
        prepayment_privilege=Decimal("0.15"),
        borrowers=("m1",),
        terms=(Term(starts, renewed[0], "fixed", dice.randrange(200, 700) * RATE, None, None),),
    )
    return Household(
        ref=f"B-{number}",
        name="Invented",
        province="ON",
        advisor=None,
        members=(),
        facility=Facility(
            lender_value_cents=value,
            valued_on=None,
            registered_limit_cents=value * 4 // 5,
            revolving_cap=Decimal("0.65"),
            line_cap_cents=value * 65 // 100,
            excess_rule="excess-first",
            capitalised_interest="compounding",
            interest_method="paid",
        ),
        mortgages=(mortgage,),
        lines=(Line("line", "365", Decimal("0.0050"), ("m1",), None, None, None),),
        investments=(Investment("inv", "non-registered", ("m1",)),),
        prime=((date(2020, 1, 1), dice.randrange(300, 700) * RATE),),
        statements=(),
        uses=(),
        plan=_plan(dice, starts, renewed, months, owed),
    )


def _plan(dice: random.Random, starts: date, renewed: list[date], months: int, owed: int) -> Plan:
    rate = Decimal("0.4341")
    return Plan(
        starts=starts,
        months=months,
        opening=(("mtg", owed),),
        prime=(),
        renewals=tuple(Renewal("mtg", day, dice.randrange(200, 700) * RATE) for day in renewed),
        reborrow=Reborrow(Decimal(1), "line", "inv", 0, dice.choice((0, 5_000_00))),
        line_interest="from-cash",
        investment=PlanInvestment(
            dice.randrange(200, 600) * RATE,
            (("eligible_dividend", dice.randrange(100, 350) * RATE), ("foreign", 50 * RATE)),
            "prepay",
        ),
        refund="prepay",
        refund_month=dice.randrange(4, 8),
        marginal=MarginalRates(rate, (("eligible_dividend", Decimal("0.2538")), ("foreign", rate))),
        extras=(),
        dam=None,
        inflation=Decimal("0.02"),
        discount_annual=None,
    )


def variants(one: Household) -> list[Household]:
    """A household and eight what-ifs: the line's rate and the growth, each lower and higher."""
    plan = one.plan
    assert plan is not None
    found = []
    for rate in (Decimal(-1), Decimal(0), Decimal(1)):
        for growth in (Decimal(-2), Decimal(0), Decimal(2)):
            investment = replace(
                plan.investment, growth_annual=plan.investment.growth_annual + growth / 100
            )
            prime = tuple((day, step + rate / 100) for day, step in one.prime)
            found.append(replace(one, prime=prime, plan=replace(plan, investment=investment)))
    return found
