"""Tax parameters by year: the law as dated data.

Read from planning/data/tax/<year>.toml, whose README names the publication
behind every figure. A year that is not on file is an error naming those that
are; a plan that runs past the last known year indexes its thresholds by a
stated inflation (`indexed`).
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from config.problems import BadInput, Problem

DATA = Path(__file__).resolve().parents[2] / "data" / "tax"
JURISDICTIONS = ("AB", "BC", "MB", "NB", "NL", "NS", "NT", "NU", "ON", "PE", "QC", "SK", "YT")


@dataclass(frozen=True, slots=True)
class BasicAmount:
    """The basic personal amount, in cents; linear between the phase-out edges.

    The edges are of net income, in Nova Scotia 2023 and 2024 of taxable income.
    """

    maximum: int
    minimum: int
    phase_out_start: int | None
    phase_out_end: int | None


@dataclass(frozen=True, slots=True)
class Surtax:
    """A tax on the tax above a threshold; before or after the dividend credit."""

    threshold: int
    rate: Fraction
    after_dividend_credit: bool


@dataclass(frozen=True, slots=True)
class PremiumBand:
    """One band of a health premium: min(cap, base + rate x (income - over))."""

    over: int
    rate: Fraction
    base: int
    cap: int


@dataclass(frozen=True, slots=True)
class LowIncomeReduction:
    """A reduction for small incomes: Ontario's doubles, British Columbia's tapers."""

    basic: int
    threshold: int | None
    rate: Fraction | None


@dataclass(frozen=True, slots=True)
class MinimumTax:
    """The federal alternative minimum tax of a year; exemption in cents."""

    rate: Fraction
    exemption: int
    gain_inclusion: Fraction
    interest_share: Fraction
    credit_share: Fraction
    carry_forward_years: int


@dataclass(frozen=True, slots=True)
class Schedule:
    """One government's schedule. Edges and amounts in cents, rates exact fractions.

    `minimum_tax_factor` is a province's share of the federal minimum tax, None
    where it is not on file.
    """

    edges: tuple[int, ...]
    rates: tuple[Fraction, ...]
    credit_rate: Fraction
    basic: BasicAmount
    eligible_credit: Fraction
    other_credit: Fraction
    surtaxes: tuple[Surtax, ...]
    premium: tuple[PremiumBand, ...]
    reduction: LowIncomeReduction | None
    abatement: Fraction
    limits_investment_expense: bool
    minimum_tax_factor: Fraction | None


@dataclass(frozen=True, slots=True)
class YearParameters:
    """Everything the engine needs for one year."""

    year: int
    federal: Schedule
    provinces: dict[str, Schedule]
    eligible_gross_up: Fraction
    other_gross_up: Fraction
    gain_inclusion: Fraction
    minimum_tax: MinimumTax


def known_years() -> tuple[int, ...]:
    """The tax years on file, rising."""
    return tuple(sorted(int(path.stem) for path in DATA.glob("[0-9][0-9][0-9][0-9].toml")))


@cache
def parameters(year: int) -> YearParameters:
    """The parameters of a year on file. Raises BadInput naming the years known."""
    path = DATA / f"{year}.toml"
    if year not in known_years():
        years = ", ".join(str(one) for one in known_years())
        raise BadInput(
            [Problem("", "year", f"tax year {year} is not on file", f"Years known: {years}")]
        )
    table = tomllib.loads(path.read_text("utf-8"))
    dividends = table["dividends"]
    return YearParameters(
        year=year,
        federal=_schedule(table["federal"], dividends),
        provinces={code: _schedule(table["jurisdiction"][code], None) for code in JURISDICTIONS},
        eligible_gross_up=Fraction(dividends["eligible"]["gross_up"]),
        other_gross_up=Fraction(dividends["non_eligible"]["gross_up"]),
        gain_inclusion=Fraction(table["capital_gains"]["inclusion_rate"]),
        minimum_tax=_minimum_tax(table["amt"]),
    )


@cache
def indexed(year: int, inflation: Decimal) -> YearParameters:
    """A year's parameters, thresholds indexed by `inflation` beyond the last on file.

    Edges, basic amounts, phase-out edges, surtax thresholds and the minimum tax
    exemption grow, those too that a government froze or never indexed; rates and
    health premium bands do not. Common practice of projections, no source.
    """
    last = known_years()[-1]
    if year <= last:
        return parameters(year)
    factor = (1 + Fraction(inflation)) ** (year - last)
    base = parameters(last)
    return replace(
        base,
        year=year,
        federal=_grow(base.federal, factor),
        provinces={code: _grow(one, factor) for code, one in base.provinces.items()},
        minimum_tax=replace(base.minimum_tax, exemption=_grown(base.minimum_tax.exemption, factor)),
    )


def _grown(cents: int, factor: Fraction) -> int:
    # Thresholds are published in whole dollars.
    return round(Fraction(cents, 100) * factor) * 100


def _grow(schedule: Schedule, factor: Fraction) -> Schedule:
    def up(cents: int) -> int:
        return _grown(cents, factor)

    basic = schedule.basic
    start, end = basic.phase_out_start, basic.phase_out_end
    reduction = schedule.reduction
    return replace(
        schedule,
        edges=tuple(up(edge) for edge in schedule.edges),
        basic=BasicAmount(
            up(basic.maximum),
            up(basic.minimum),
            None if start is None else up(start),
            None if end is None else up(end),
        ),
        surtaxes=tuple(replace(one, threshold=up(one.threshold)) for one in schedule.surtaxes),
        reduction=None
        if reduction is None
        else replace(
            reduction,
            basic=up(reduction.basic),
            threshold=None if reduction.threshold is None else up(reduction.threshold),
        ),
    )


def _cents(value: int | str) -> int:
    return int(Decimal(value) * 100)


def _schedule(table: dict[str, Any], dividends: dict[str, Any] | None) -> Schedule:
    basic = table["basic_personal_amount"]
    phased = basic["rule"] == "linear_phase_out"
    if dividends is None:
        eligible = Fraction(table["dividend_credit"]["eligible"]["rate"])
        other = Fraction(table["dividend_credit"]["non_eligible"]["rate"])
    else:
        eligible = Fraction(dividends["eligible"]["federal_credit_rate"])
        other = Fraction(dividends["non_eligible"]["federal_credit_rate"])
    bands = table.get("health_premium", {}).get("bands", [])
    limit = table.get("investment_expense_limit", {})
    factor = table.get("amt", {}).get("provincial_factor")
    return Schedule(
        edges=tuple(_cents(one) for one in table["brackets"]["lower_bounds"]),
        rates=tuple(Fraction(one) for one in table["brackets"]["rates"]),
        credit_rate=Fraction(table["credit_rate"]["value"]),
        basic=BasicAmount(
            maximum=_cents(basic["maximum"]),
            minimum=_cents(basic["minimum"]),
            phase_out_start=_cents(basic["phase_out_start"]) if phased else None,
            phase_out_end=_cents(basic["phase_out_end"]) if phased else None,
        ),
        eligible_credit=eligible,
        other_credit=other,
        surtaxes=tuple(
            Surtax(
                _cents(one["threshold"]), Fraction(one["rate"]), "after the dividend" in one["base"]
            )
            for one in table.get("surtax", [])
        ),
        premium=tuple(
            PremiumBand(
                _cents(one["over"]), Fraction(one["rate"]), _cents(one["base"]), _cents(one["cap"])
            )
            for one in bands
        ),
        reduction=_reduction(table.get("low_income_reduction")),
        abatement=Fraction(table.get("federal_abatement", {}).get("value", "0")),
        limits_investment_expense=bool(limit.get("limited_to_investment_income", False)),
        minimum_tax_factor=None if factor is None else Fraction(factor),
    )


def _reduction(table: dict[str, Any] | None) -> LowIncomeReduction | None:
    if table is None:
        return None
    tapers = "threshold" in table
    return LowIncomeReduction(
        basic=_cents(table["basic"]),
        threshold=_cents(table["threshold"]) if tapers else None,
        rate=Fraction(table["rate"]) if tapers else None,
    )


def _minimum_tax(table: dict[str, Any]) -> MinimumTax:
    return MinimumTax(
        rate=Fraction(table["rate"]),
        exemption=_cents(table["exemption"]),
        gain_inclusion=Fraction(table["capital_gain_inclusion"]),
        interest_share=Fraction(table["interest_deduction_share"]),
        credit_share=Fraction(table["non_refundable_credit_share"]),
        carry_forward_years=int(table["carry_forward_years"]),
    )
