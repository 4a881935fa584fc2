"""Income tax of one person for one year, federal and provincial.

Credits beyond the basic personal amount and the dividend credits are left out
on purpose: a saving is the difference of two taxes and other credits cancel.
Saving = tax(before) - tax(after), never deduction x one marginal rate.
Sources of every figure: planning/data/tax/README.md; the order of steps is the
T1, ON428 and TP-1 returns'.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction

from planning.core.money import round_half_up
from planning.core.tax.parameters import BasicAmount, Schedule, YearParameters
from planning.core.tax.quebec import limited


@dataclass(frozen=True, slots=True)
class Income:
    """A person's year. Dividends and gains are the actual amounts, in cents."""

    ordinary_cents: int = 0
    interest_cents: int = 0
    eligible_dividends_cents: int = 0
    other_dividends_cents: int = 0
    capital_gain_cents: int = 0
    deduction_cents: int = 0


@dataclass(frozen=True, slots=True)
class Tax:
    """A year's tax, each part rounded to the cent. `federal` is before the abatement.

    `addback_cents` is Québec's excess of investment expenses over investment
    income (line 260), `used_cents` what an earlier year's excess reduced (252).
    """

    federal_cents: int
    abatement_cents: int
    provincial_cents: int
    surtax_cents: int
    health_premium_cents: int
    addback_cents: int
    used_cents: int

    @property
    def total_cents(self) -> int:
        """All of it, less the abatement."""
        return (
            self.federal_cents
            - self.abatement_cents
            + self.provincial_cents
            + self.surtax_cents
            + self.health_premium_cents
        )


@dataclass(frozen=True, slots=True)
class _Exact:
    federal: Fraction
    abatement: Fraction
    provincial: Fraction
    surtax: Fraction
    premium: Fraction
    addback: Fraction
    used: Fraction


def bracket_tax(schedule: Schedule, taxable: Fraction) -> Fraction:
    """Tax by bands: for each band, rate x the income between its edge and the next."""
    tax = Fraction(0)
    for index, edge in enumerate(schedule.edges):
        upper = schedule.edges[index + 1] if index + 1 < len(schedule.edges) else None
        top = taxable if upper is None else min(taxable, Fraction(upper))
        if top > edge:
            tax += schedule.rates[index] * (top - edge)
    return tax


def exact_basic_amount(basic: BasicAmount, net_income: Fraction) -> Fraction:
    """The basic personal amount at an income, in cents, falling in a straight line."""
    start, end = basic.phase_out_start, basic.phase_out_end
    if start is None or end is None or net_income <= start:
        return Fraction(basic.maximum)
    if net_income >= end:
        return Fraction(basic.minimum)
    fall = (basic.maximum - basic.minimum) * (net_income - start) / (end - start)
    return basic.maximum - fall


def basic_amount(basic: BasicAmount, net_income: Fraction) -> int:
    """The basic personal amount of the return: rounded to the cent, half up."""
    return round_half_up(exact_basic_amount(basic, net_income))


AmountAt = Callable[[BasicAmount, Fraction], Fraction | int]


def _health_premium(schedule: Schedule, taxable: Fraction) -> Fraction:
    for band in reversed(schedule.premium):
        if taxable > band.over:
            return min(Fraction(band.cap), band.base + band.rate * (taxable - band.over))
    return Fraction(0)


def _reduced(schedule: Schedule, tax: Fraction, net_income: Fraction) -> Fraction:
    reduction = schedule.reduction
    if reduction is None:
        return tax
    if reduction.threshold is None or reduction.rate is None:
        relief = max(Fraction(0), 2 * reduction.basic - tax)
    else:
        over = max(Fraction(0), net_income - reduction.threshold)
        relief = max(Fraction(0), reduction.basic - reduction.rate * over)
    return max(Fraction(0), tax - relief)


@dataclass(frozen=True, slots=True)
class _Parts:
    """A year's income as the returns see it: dividends grossed up, gains by half."""

    eligible: Fraction
    other: Fraction
    investment: Fraction
    gross: Fraction
    taxable: Fraction


def _parts(year: YearParameters, income: Income) -> _Parts:
    eligible = (1 + year.eligible_gross_up) * income.eligible_dividends_cents
    other = (1 + year.other_gross_up) * income.other_dividends_cents
    gain = year.gain_inclusion * income.capital_gain_cents
    investment = income.interest_cents + eligible + other + gain
    gross = income.ordinary_cents + investment
    taxable = max(Fraction(0), gross - income.deduction_cents)
    return _Parts(eligible, other, investment, gross, taxable)


def taxable_income(year: YearParameters, income: Income) -> Fraction:
    """Federal taxable income in cents, not below zero.

    It is net income too: carrying charges come off before line 23600, and no
    deduction between the two lines is part of this engine. So an amount that
    falls with net income and one that falls with taxable income (Nova Scotia's
    basic amount of 2023 and 2024) look at the same figure.
    """
    return _parts(year, income).taxable


def investment_income(year: YearParameters, income: Income) -> Fraction:
    """Interest, dividends grossed up and the taxable part of gains, not below zero."""
    return max(Fraction(0), _parts(year, income).investment)


def federal_tax(
    year: YearParameters, income: Income, *, credit_base_cents: int | None = None
) -> Fraction:
    """Exact federal tax in cents after basic and dividend credits, before the abatement.

    `credit_base_cents` takes the place of the basic personal amount.
    """
    parts, base = _parts(year, income), credit_base_cents
    if base is None:
        base = basic_amount(year.federal.basic, parts.taxable)
    return _federal(year, parts, base)


def _federal(year: YearParameters, parts: _Parts, base: Fraction | int) -> Fraction:
    due = bracket_tax(year.federal, parts.taxable) - year.federal.credit_rate * base
    due -= year.federal.eligible_credit * parts.eligible
    due -= year.federal.other_credit * parts.other
    return max(Fraction(0), due)


def _exact(
    year: YearParameters,
    province: str,
    income: Income,
    *,
    quebec_limit: bool,
    low_income_reductions: bool,
    pool_cents: int,
    amount_at: AmountAt = basic_amount,
) -> _Exact:
    schedule = year.provinces[province]
    parts = _parts(year, income)
    federal = _federal(year, parts, amount_at(year.federal.basic, parts.taxable))

    addback = used = Fraction(0)
    if schedule.limits_investment_expense and quebec_limit:
        addback, used = limited(
            Fraction(income.deduction_cents),
            max(Fraction(0), parts.investment),
            Fraction(pool_cents),
        )
    at_home = max(Fraction(0), parts.gross - income.deduction_cents + addback - used)
    basic = bracket_tax(schedule, at_home)
    basic = max(Fraction(0), basic - schedule.credit_rate * amount_at(schedule.basic, at_home))
    credit = schedule.eligible_credit * parts.eligible + schedule.other_credit * parts.other
    provincial = max(Fraction(0), basic - credit)
    surtax = sum(
        (
            one.rate
            * max(Fraction(0), (provincial if one.after_dividend_credit else basic) - one.threshold)
            for one in schedule.surtaxes
        ),
        Fraction(0),
    )
    # A dividend credit larger than the tax it is set against first eats the surtax.
    surtax = max(Fraction(0), surtax - max(Fraction(0), credit - basic))
    if low_income_reductions:
        whole = provincial + surtax
        reduced = _reduced(schedule, whole, at_home)
        surtax = min(surtax, reduced)
        provincial = reduced - surtax
    return _Exact(
        federal=federal,
        abatement=schedule.abatement * federal,
        provincial=provincial,
        surtax=surtax,
        premium=_health_premium(schedule, at_home),
        addback=addback,
        used=used,
    )


def tax(
    year: YearParameters,
    province: str,
    income: Income,
    *,
    quebec_limit: bool = True,
    low_income_reductions: bool = False,
    pool_cents: int = 0,
) -> Tax:
    """The tax of one person for one year.

    `province` is a two-letter code; `pool_cents` Québec investment expenses
    carried forward from earlier years. Each part is rounded once, half up.
    """
    exact = _exact(
        year,
        province,
        income,
        quebec_limit=quebec_limit,
        low_income_reductions=low_income_reductions,
        pool_cents=pool_cents,
    )
    return Tax(
        federal_cents=round_half_up(exact.federal),
        abatement_cents=round_half_up(exact.abatement),
        provincial_cents=round_half_up(exact.provincial),
        surtax_cents=round_half_up(exact.surtax),
        health_premium_cents=round_half_up(exact.premium),
        addback_cents=round_half_up(exact.addback),
        used_cents=round_half_up(exact.used),
    )


def marginal_rates(
    year: YearParameters, province: str, income: Income, *, low_income_reductions: bool = False
) -> dict[str, Fraction]:
    """Tax on one further dollar by kind of income, health premium left out.

    Measured on the next dollar actually received above `income` (a dividend
    before gross-up, the whole of a gain), so it includes surtax, the abatement
    and the phase-out of the basic amount, and is negative where a dividend's
    credit passes its tax. A dollar that crosses an edge blends two rates. The basic
    amount is not rounded here: its cent would show in the fourth place.
    """

    def total(one: Income) -> Fraction:
        exact = _exact(
            year,
            province,
            one,
            quebec_limit=True,
            low_income_reductions=low_income_reductions,
            pool_cents=0,
            amount_at=exact_basic_amount,
        )
        return exact.federal - exact.abatement + exact.provincial + exact.surtax

    base = total(income)
    more = {
        "ordinary": replace(income, ordinary_cents=income.ordinary_cents + 100),
        "eligible_dividend": replace(
            income, eligible_dividends_cents=income.eligible_dividends_cents + 100
        ),
        "other_dividend": replace(income, other_dividends_cents=income.other_dividends_cents + 100),
        "capital_gain": replace(income, capital_gain_cents=income.capital_gain_cents + 100),
    }
    return {kind: (total(one) - base) / 100 for kind, one in more.items()}
