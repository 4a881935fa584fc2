"""Deductions by calendar year with what they save."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import reduce

from config.problems import BadInput
from ledger.core.provincial import is_limited, known_distributions, quebec_pool
from ledger.core.trace_types import NONE, Trace, add, less
from planning.core.money import round_half_up
from planning.core.months import last_day
from planning.core.tax.engine import Income, tax
from planning.core.tax.household import household_tax, income_of_year
from planning.core.tax.parameters import indexed
from planning.core.types import Household, Member


@dataclass(frozen=True, slots=True)
class DeductionYear:
    """A calendar year of the lines' interest, in cents.

    `posted` and `paid` are of all classes; `deductible`, `unsupported` and
    `ineligible` the same measure by class; `compound` the eligible compound
    interest paid, part of `deductible`. `federal` and `provincial` are the
    amounts that reduce each return's income, `tax_saving` what the claim saves.
    They differ for a claimant of Québec, where `provincial` is limited to the
    investment income on file and the rest waits in `pool` for a later year;
    elsewhere `pool` is None.
    """

    year: int
    posted: int
    paid: int
    deductible: int
    unsupported: int
    ineligible: int
    compound: int
    federal: int
    provincial: int
    tax_saving: int
    pool: int | None = None


def tax_saving_cents(
    household: Household, year: int, deductible: int, limit: Limit | None = None
) -> int:
    """What a year's deduction saves.

    round(ordinary x deductible)

    at the plan's flat rate; without one, the claimant's own tax before less
    after; zero when neither can be known. With a `limit` (Québec) both are
    counted with the distributions on file, and after it the pool brought in.
    """
    plan = household.plan
    if plan is None or (deductible <= 0 and limit is None):
        return 0
    if plan.marginal is not None:
        return round_half_up(Fraction(plan.marginal.ordinary) * deductible)
    try:
        found = household_tax(household, household.ref)
        if limit is None:
            return found(year, deductible, {})
        return _limited_saving(limit, year, deductible, plan.inflation)
    except (BadInput, ValueError):
        return 0


@dataclass(frozen=True, slots=True)
class Limit:
    """The claimant's distributions of a year on file, and the pool brought in (Québec)."""

    claimant: Member
    received: Income
    pool: int


def _limited_saving(limit: Limit, year: int, deductible: int, inflation: Decimal) -> int:
    law, province = indexed(year, inflation), limit.claimant.province
    ordinary = income_of_year(limit.claimant, year, inflation)
    without = replace(limit.received, ordinary_cents=ordinary)
    claimed = replace(without, deduction_cents=deductible)
    after = tax(law, province, claimed, pool_cents=limit.pool)
    return tax(law, province, without).total_cents - after.total_cents


def claimant_of(household: Household) -> Member | None:
    """Who claims the interest: named on a line, else its borrower, else the first member."""
    people = {one.ref: one for one in household.members}
    for line in household.lines:
        named = (line.claimant, *line.borrowers)
        for ref in named:
            if ref in people:
                return people[ref]
    return household.members[0] if household.members else None


def deduction_years(household: Household, traced: Trace, through: str) -> tuple[DeductionYear, ...]:
    """Every calendar year from the first line statement to `through`.

    With method `paid` the measure is interest paid in the year, of each class;
    with `payable` simple interest posted in the year and compound interest paid
    in it. Rule: Income Tax Act, paragraphs 20(1)(c) and (d).
    """
    starts = [one.starts for line in household.lines for one in household.statements_of(line.ref)]
    if not starts:
        return ()
    years = range(min(starts).year, int(through[:4]) + 1)
    found = tuple(_year(household, traced, year) for year in years)
    claimant = claimant_of(household)
    if claimant is not None and is_limited(claimant):
        return _in_quebec(household, claimant, found, last_day(through))
    return tuple(
        replace(one, tax_saving=tax_saving_cents(household, one.year, one.deductible))
        for one in found
    )


def _in_quebec(
    household: Household, claimant: Member, years: tuple[DeductionYear, ...], through: date
) -> tuple[DeductionYear, ...]:
    inflation = household.plan.inflation if household.plan is not None else Decimal(0)
    received = known_distributions(household, claimant.ref, through)
    pools = quebec_pool([(one.year, one.deductible) for one in years], received, inflation)
    found: list[DeductionYear] = []
    pool = 0
    for one, after in zip(years, pools, strict=True):
        limit = Limit(claimant, received.get(one.year, Income()), pool)
        saving = tax_saving_cents(household, one.year, one.deductible, limit)
        found.append(replace(one, provincial=after.allowed, tax_saving=saving, pool=after.pool))
        pool = after.pool
    return tuple(found)


def _year(household: Household, traced: Trace, year: int) -> DeductionYear:
    postings = [
        one for line in traced.lines.values() for one in line.postings if one.on.year == year
    ]
    payments = [one for one in traced.payments if one.on.year == year]
    if household.facility.interest_method == "payable":
        measured = [less(one.classes, one.compound) for one in postings]
        measured += [one.compound for one in payments]
    else:
        measured = [one.classes for one in payments]
    eligible, unsupported, ineligible = reduce(add, measured, NONE)
    return DeductionYear(
        year=year,
        posted=sum(one.posted for one in postings),
        paid=sum(sum(one.classes) for one in payments),
        deductible=eligible,
        unsupported=unsupported,
        ineligible=ineligible,
        compound=sum(one.compound[0] for one in payments),
        federal=eligible,
        provincial=eligible,
        tax_saving=0,
    )
