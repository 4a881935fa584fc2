"""Tax that the plan did not count on: minimum tax, Québec's limit, tax as a main purpose."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal

from config.problems import BadInput
from ledger.core.deductions import claimant_of
from ledger.core.digest import plan_mark
from ledger.core.drift.context import DriftContext
from ledger.core.drift.findings import Finding, joined, step
from ledger.core.provincial import is_limited, law_of, received_between
from planning.core.money import round_half_up
from planning.core.tax.amt import Screen, screen
from planning.core.tax.engine import Income, investment_income, tax
from planning.core.tax.household import income_of_year
from planning.core.tax.parameters import YearParameters, parameters
from planning.core.tax.quebec import pool_years
from planning.core.types import Household, Member


def amt_exposure(context: DriftContext) -> tuple[Finding, ...]:
    """The minimum tax screen of a member passes the regular tax for the year to date.

    Counted: the member's income of the whole year, distributions and realised
    gains up to the close, and for the claimant the interest deductible up to
    it. Silent for a member without income on file and for a year whose tax is
    not on file. Dollars: the federal excess, of all members.
    """
    try:
        law = parameters(context.as_of.year)
    except BadInput:
        return ()
    found = []
    claimant = claimant_of(context.household)
    for member in context.household.members:
        if not member.income:
            continue
        income = _year_to_date(context, member, deducts=member == claimant)
        screened = screen(law, income, province=member.province)
        if screened.triggered:
            found.append(_amt_finding(context, member, screened))
    return tuple(found)


def _year_to_date(context: DriftContext, member: Member, *, deducts: bool) -> Income:
    year = context.as_of.year
    received = received_between(context.household, member, date(year, 1, 1), context.as_of)
    return replace(
        received,
        ordinary_cents=income_of_year(member, year, _inflation(context.household)),
        deduction_cents=_deductible_to_date(context) if deducts else 0,
    )


def _inflation(household: Household) -> Decimal:
    return Decimal(0) if household.plan is None else household.plan.inflation


def _deductible_to_date(context: DriftContext) -> int:
    year = context.month[:4]
    months = [one for one in context.trace.months if one[:4] == year and one <= context.month]
    return max(0, sum(context.trace.deductible(one) for one in months))


def _amt_finding(context: DriftContext, member: Member, screened: Screen) -> Finding:
    return Finding(
        code="amt-exposure",
        key=joined(context.as_of.year),
        dollars_cents=screened.excess,
        severity="note",
        life="state",
        evidence=tuple(_gain_entries(context)),
        remedy=(
            step(
                "Ask the accountant to work out form T691 for {member}: the minimum tax of "
                "{minimum} passes the regular tax of {regular} so far.",
                member=member.name,
                minimum=screened.minimum,
                regular=screened.regular,
            ),
            step(
                "Spread further sales over later years; the excess can be recovered within "
                "{years} years.",
                years=str(screened.carry_forward_years),
            ),
        ),
    )


def _gain_entries(context: DriftContext) -> Iterator[str]:
    for account in context.household.investments:
        for entry in context.book.entries(account.ref, "distribution", context.as_of):
            if entry.of == "capital_gain" and entry.date.year == context.as_of.year:
                yield entry.id


def quebec_limit(context: DriftContext) -> tuple[Finding, ...]:
    """Interest deductible so far this year exceeds the claimant's investment income so far.

    Only for a claimant of Québec. Dollars: what is added back (TP-1 line 260)
    and waits for a later year. Cost: the provincial tax on it this year.
    """
    member = claimant_of(context.household)
    if member is None or not is_limited(member):
        return ()
    year, expenses = context.as_of.year, _deductible_to_date(context)
    law = law_of(year, _inflation(context.household))
    income = _year_to_date(context, member, deducts=True)
    received = round_half_up(investment_income(law, income))
    (counted,) = pool_years([(year, expenses, received)])
    if counted.addback <= 0:
        return ()
    return (
        Finding(
            code="quebec-limit",
            key=joined(year),
            dollars_cents=counted.addback,
            severity="note",
            life="state",
            evidence=tuple(
                one.id
                for line in context.trace.lines.values()
                for one in line.postings
                if one.on.year == year
            ),
            cost_per_year_cents=_deferred(law, member, income),
            remedy=(
                step(
                    "Claim {expenses} on the federal return; Québec allows {income} of it so far, "
                    "and the other {addback} waits for a year with more investment income.",
                    expenses=expenses,
                    income=counted.income,
                    addback=counted.addback,
                ),
                step("Keep the pool with the year's papers, and look at the portfolio's yield."),
            ),
        ),
    )


def _deferred(law: YearParameters, member: Member, income: Income) -> int:
    """What the limit costs in tax this year, in cents; 0 without income on file."""
    if not member.income:
        return 0
    limited, free = (
        tax(law, member.province, income, quebec_limit=on).total_cents for on in (True, False)
    )
    return max(0, limited - free)


def tax_benefit_dominates(context: DriftContext) -> tuple[Finding, ...]:
    """The plan's expected tax benefit exceeds its expected return without tax.

    Looked at in the months of the plan; silent for a plan without tax benefit.
    Key: the mark of the plan's version. Rule: Income Tax Act, 245(4.2)(b).
    """
    plan = context.household.plan
    if plan is None or context.month not in context.plan_rows:
        return ()
    figures = context.purpose()
    if figures is None or not figures.dominates or figures.tax_cents <= 0:
        return ()
    return (
        Finding(
            code="tax-benefit-dominates",
            key=plan_mark(plan),
            dollars_cents=figures.tax_cents - figures.nontax_cents,
            severity="note",
            life="state",
            remedy=(
                step(
                    "Look at the plan's assumptions: the tax benefit expected is {tax}, the "
                    "return expected without it {other}.",
                    tax=figures.tax_cents,
                    other=figures.nontax_cents,
                ),
                step("Keep a memo of the plan's purpose other than tax, written when it is made."),
            ),
        ),
    )
