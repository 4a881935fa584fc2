"""A household's yearly tax saving from a plan, by the members' own returns.

Saving = tax without the plan - tax with it, summed over members. The claimant
of the line deducts; the accounts' owners report the distributions in equal
shares. Income of a year that is not on file is the latest one before it grown
by the plan's inflation (the earliest one shrunk, when all are later).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

from config.problems import BadInput, Problem
from planning.core.money import prorate, round_half_up
from planning.core.tax.engine import Income, tax
from planning.core.tax.parameters import indexed, known_years
from planning.core.types import Household, Member


@dataclass(slots=True)
class HouseholdTax:
    """Savings year by year, called in rising order of years.

    Keeps Québec's pool of unused investment expenses by member between calls.
    """

    household: Household
    claimant: str
    inflation: Decimal
    pools: dict[str, int] = field(default_factory=dict)

    def __call__(self, year: int, deduction_cents: int, income_by_kind: Mapping[str, int]) -> int:
        """The year's saving in cents (negative when the plan costs tax).

        `deduction_cents` is the interest deducted, `income_by_kind` the plan's
        distributions of the year by kind, actual amounts in cents.
        """
        saving = 0
        law = indexed(year, self.inflation)
        for member, ordinary, income in self.incomes(year, deduction_cents, income_by_kind):
            pool = self.pools.get(member.ref, 0)
            if income == Income(ordinary_cents=ordinary) and not pool:
                continue
            without = tax(law, member.province, Income(ordinary_cents=ordinary))
            with_plan = tax(law, member.province, income, pool_cents=pool)
            self.pools[member.ref] = pool + with_plan.addback_cents - with_plan.used_cents
            saving += without.total_cents - with_plan.total_cents
        return saving

    def incomes(
        self, year: int, deduction_cents: int, income_by_kind: Mapping[str, int]
    ) -> Iterator[tuple[Member, int, Income]]:
        """Every member with the year's ordinary income and the whole income with the plan."""
        for member in self.household.members:
            received = self._received(member.ref, income_by_kind)
            ordinary = income_of_year(member, year, self.inflation)
            yield (
                member,
                ordinary,
                Income(
                    ordinary_cents=ordinary,
                    interest_cents=received["interest"] + received["foreign"],
                    eligible_dividends_cents=received["eligible_dividend"],
                    other_dividends_cents=received["other_dividend"],
                    capital_gain_cents=received["capital_gain"],
                    deduction_cents=deduction_cents if member.ref == self.claimant else 0,
                ),
            )

    def _received(self, member: str, income_by_kind: Mapping[str, int]) -> dict[str, int]:
        kinds = ("eligible_dividend", "other_dividend", "interest", "foreign", "capital_gain")
        owners = _owners(self.household) or (self.claimant,)
        shares: dict[str, int] = {}
        for kind in kinds:
            parts = prorate(income_by_kind.get(kind, 0), [1] * len(owners))
            shares[kind] = sum(
                part for owner, part in zip(owners, parts, strict=True) if owner == member
            )
        return shares


def _owners(household: Household) -> tuple[str, ...]:
    seen: dict[str, None] = {}
    for account in household.investments:
        if account.kind == "non-registered":
            seen |= dict.fromkeys(account.owners)
    return tuple(seen)


def income_of_year(member: Member, year: int, inflation: Decimal) -> int:
    """The member's taxable income of a year without the plan, in cents."""
    if not member.income:
        return 0
    known = dict(member.income)
    if year in known:
        return known[year]
    earlier = [one for one in known if one < year]
    base = max(earlier) if earlier else min(known)
    factor = (1 + Fraction(inflation)) ** (year - base)
    return round_half_up(known[base] * factor)


def household_tax(household: Household, file: str) -> HouseholdTax:
    """The tax engine of a household's plan.

    Raises BadInput when nobody can be named who claims the interest, when a
    member has no income on file, or when the plan starts before the first tax
    year on file.
    """
    plan = household.plan
    assert plan is not None
    problems: list[Problem] = []
    claimant = _claimant(household)
    if claimant is None:
        problems.append(
            Problem(
                file,
                "lines[0].claimant",
                "nobody is named who claims the line's interest",
                "Name the claimant, or give flat rates in plan.marginal",
            )
        )
    for index, member in enumerate(household.members):
        if not member.income:
            problems.append(
                Problem(
                    file,
                    f"members[{index}].income",
                    "no income is on file, so no tax can be computed",
                    "Give the income of a year, or flat rates in plan.marginal",
                )
            )
    years = known_years()
    if plan.starts.year < years[0]:
        problems.append(
            Problem(
                file,
                "plan.starts",
                f"tax year {plan.starts.year} is not on file",
                f"Years known: {', '.join(map(str, years))}; or give plan.marginal",
            )
        )
    if problems or claimant is None:
        raise BadInput(problems)
    return HouseholdTax(household=household, claimant=claimant, inflation=plan.inflation)


def _claimant(household: Household) -> str | None:
    for line in household.lines:
        if line.claimant:
            return line.claimant
        if line.borrowers:
            return line.borrowers[0]
    return household.members[0].ref if household.members else None
