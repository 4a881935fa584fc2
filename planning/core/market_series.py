"""Monthly markets and rates since 1956, as the replays and projections read them.

Source of every column: planning/data/markets/README.md. What the file does not
report is derived or assumed here, by rules that are named constants, so that a
result can say what it rests on.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from pathlib import Path

DATA = Path(__file__).resolve().parents[1] / "data" / "markets" / "monthly.csv"

ASSUMED_YIELD = Decimal("0.0290")
"""Dividend yield of months without a reported one (2016-09 on): the last ones reported."""

PRIME_OVER_BANK_RATE = Decimal("0.0150")
"""Prime less Bank Rate before 1975, where no prime is on file; 1.41 points on average since."""


@dataclass(frozen=True, slots=True)
class MarketMonth:
    """One month of history. Rates and yields a year, as decimal fractions."""

    month: str
    close: Decimal
    dividend_yield: Decimal
    yield_assumed: bool
    prime: Decimal
    prime_derived: bool
    mortgage_average: Decimal
    cpi: Decimal


@lru_cache(maxsize=1)
def market_months() -> tuple[MarketMonth, ...]:
    """Every month on file, in order and without a gap (1956-01 to 2022-12)."""
    with DATA.open(encoding="utf-8", newline="") as file:
        return tuple(_month(row) for row in csv.DictReader(file))


def _month(row: dict[str, str]) -> MarketMonth:
    reported, prime = row["dividend_yield"], row["prime"]
    return MarketMonth(
        month=row["month"],
        close=Decimal(row["tsx_close"]),
        dividend_yield=Decimal(reported) if reported else ASSUMED_YIELD,
        yield_assumed=not reported,
        prime=Decimal(prime) if prime else Decimal(row["bank_rate"]) + PRIME_OVER_BANK_RATE,
        prime_derived=not prime,
        mortgage_average=Decimal(row["mortgage_average_5y"]),
        cpi=Decimal(row["cpi"]),
    )


def price_growth(before: MarketMonth, now: MarketMonth) -> Fraction:
    """The index's change of price over a month, exactly: close / close before - 1."""
    return Fraction(now.close) / Fraction(before.close) - 1


def distribution(before: MarketMonth) -> Fraction:
    """The part of a month's opening value paid out in it: the last yield known / 12."""
    return Fraction(before.dividend_yield) / 12
