"""What a province lets a year's interest reduce: all of it, in Québec up to the
investment income that the file knows.

Counted as the claimant's investment income of a calendar year, by posting date:
every distribution, in cash or reinvested, of a non-registered account the
claimant owns, in equal shares between its owners (an account without owners is
the claimant's). Eligible dividends count grossed up by 38 %, other dividends by
15 %, interest and foreign income in full, capital gains distributed by their
taxable half, and so do the gains realised that the file lists for the claimant.
Not counted, since the file does not hold them: a return of capital, other gains
on sales, rent, and income from accounts that are not on file; each would raise
the limit. Rule: Revenu Québec, TP-1 lines 231, 252 and 260,
Schedule N.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from planning.core.money import prorate, round_half_up
from planning.core.tax.engine import Income, investment_income
from planning.core.tax.parameters import YearParameters, indexed, known_years
from planning.core.tax.quebec import PoolYear, pool_years
from planning.core.types import Household, Member

_TAXED = ("eligible_dividend", "other_dividend", "interest", "foreign", "capital_gain")


def is_limited(member: Member | None) -> bool:
    """Whether the claimant's province limits investment expenses (Québec does)."""
    if member is None:
        return False
    schedule = indexed(known_years()[-1], Decimal(0)).provinces.get(member.province)
    return schedule is not None and schedule.limits_investment_expense


def known_distributions(household: Household, member: str, through: date) -> dict[int, Income]:
    """The member's share of the distributions on file by year, with the gains realised;
    actual amounts in cents.
    """
    return {
        year: _income(kinds) for year, kinds in _sums(household, member, date.min, through).items()
    }


def received_between(household: Household, member: Member, since: date, through: date) -> Income:
    """The same over any stretch of days, both ends included, in one sum."""
    whole = dict.fromkeys(_TAXED, 0)
    for kinds in _sums(household, member.ref, since, through).values():
        for kind, cents in kinds.items():
            whole[kind] += cents
    return _income(whole)


def _sums(
    household: Household, member: str, since: date, through: date
) -> dict[int, dict[str, int]]:
    sums: dict[int, dict[str, int]] = defaultdict(lambda: dict.fromkeys(_TAXED, 0))
    for account in household.investments:
        owners = account.owners or (member,)
        if account.kind != "non-registered" or member not in owners:
            continue
        place = owners.index(member)
        for (year, kind), cents in _by_year(household, account.ref, since, through).items():
            sums[year][kind] += prorate(cents, [1] * len(owners))[place]
    for person in household.members:
        for gain in person.gains if person.ref == member else ():
            if since <= gain.on <= through:
                sums[gain.on.year]["capital_gain"] += gain.amount_cents
    return sums


def _by_year(
    household: Household, account: str, since: date, through: date
) -> dict[tuple[int, str], int]:
    found: dict[tuple[int, str], int] = defaultdict(int)
    for statement in household.statements_of(account):
        for entry in statement.entries:
            if entry.kind != "distribution" or entry.of not in _TAXED:
                continue
            if since <= entry.date <= through:
                found[entry.date.year, entry.of] += entry.amount_cents
    return found


def _income(kinds: dict[str, int]) -> Income:
    return Income(
        interest_cents=kinds["interest"] + kinds["foreign"],
        eligible_dividends_cents=kinds["eligible_dividend"],
        other_dividends_cents=kinds["other_dividend"],
        capital_gain_cents=kinds["capital_gain"],
    )


def quebec_pool(
    expenses: Iterable[tuple[int, int]], distributions: dict[int, Income], inflation: Decimal
) -> tuple[PoolYear, ...]:
    """The pool over `expenses` (year, deductible interest in cents), rising by year.

    It starts empty with the first of those years.
    """
    return pool_years(
        (year, cents, round_half_up(investment_income(law_of(year, inflation), income)))
        for year, cents in expenses
        for income in (distributions.get(year, Income()),)
    )


def law_of(year: int, inflation: Decimal) -> YearParameters:
    """The gross-ups and inclusion of a year."""
    # Gross-ups have been 38 % and 15 %, and gains taxed by half, since 2019: the
    # first year on file speaks for those before it.
    return indexed(max(year, known_years()[0]), inflation)
