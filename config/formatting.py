"""Amounts, rates and dates as a reader of English or French Canadian text expects them.

The one place where a figure becomes text for people. Reports carry amounts as
decimal strings ("1204.37") and rates as decimal fractions ("0.0545"); nothing
passes through a binary float. English writes $1,234.56 and 5.45%, French
1 234,56 $ and 5,45 % with no-break spaces, so that a figure never breaks over
a line.
"""

from __future__ import annotations

from datetime import date
from decimal import ROUND_HALF_UP, Decimal

NO_BREAK = "\u00a0"
MINUS = "\u2212"
EN_MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)
FR_MONTHS = (
    *("janvier", "février", "mars", "avril", "mai", "juin", "juillet"),
    *("août", "septembre", "octobre", "novembre", "décembre"),
)
EN_SHORT = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
FR_SHORT = (
    *("janv.", "févr.", "mars", "avr.", "mai", "juin"),
    *("juill.", "août", "sept.", "oct.", "nov.", "déc."),
)


def is_french(language: str) -> bool:
    """Whether a language code ("fr", "fr-ca") asks for French; all else is English."""
    return language.lower().startswith("fr")


def money(amount: str, language: str = "en") -> str:
    """A decimal string as dollars and cents: $1,204.37, or 1 204,37 $ in French."""
    return _dollars(Decimal(amount), 2, language)


def whole_money(amount: str, language: str = "en") -> str:
    """A decimal string as whole dollars, halves away from zero: $1,204 or 1 204 $."""
    return _dollars(Decimal(amount), 0, language)


def signed_money(amount: str, language: str = "en") -> str:
    """As `money`, with a plus sign before amounts above zero: a difference reads as one."""
    value = Decimal(amount)
    sign = "+" if value > 0 else ""
    return sign + _dollars(value, 2, language)


def cents(amount_cents: int, language: str = "en") -> str:
    """Whole cents as dollars: 120437 is $1,204.37."""
    return _dollars(Decimal(amount_cents).scaleb(-2), 2, language)


def percent(fraction: str, language: str = "en", places: int = 2) -> str:
    """A decimal fraction as a percentage: "0.0545" is 5.45%, or 5,45 % in French."""
    text = number(str(Decimal(fraction) * 100), language, places)
    return f"{text}{NO_BREAK}%" if is_french(language) else f"{text}%"


def number(value: str | int, language: str = "en", places: int = 0) -> str:
    """A grouped number: 1,234.5 in English, 1 234,5 in French."""
    sign, whole, part = _parts(Decimal(value), places)
    if is_french(language):
        return sign + whole.replace(",", NO_BREAK) + (f",{part}" if part else "")
    return sign + whole + (f".{part}" if part else "")


def long_day(day: date | str, language: str = "en") -> str:
    """A date in words: "January 31, 2026", or "1er février 2026" in French."""
    value = _date(day)
    if is_french(language):
        first = "1er" if value.day == 1 else str(value.day)
        return f"{first}{NO_BREAK}{FR_MONTHS[value.month - 1]}{NO_BREAK}{value.year}"
    return f"{EN_MONTHS[value.month - 1]}{NO_BREAK}{value.day}, {value.year}"


def short_day(day: date | str, language: str = "en") -> str:
    """A date for tables: "Jan 31, 2026", or "31 janv. 2026" in French."""
    value = _date(day)
    if is_french(language):
        return f"{value.day}{NO_BREAK}{FR_SHORT[value.month - 1]}{NO_BREAK}{value.year}"
    return f"{EN_SHORT[value.month - 1]}{NO_BREAK}{value.day},{NO_BREAK}{value.year}"


def long_month(month: str, language: str = "en") -> str:
    """A month in words: "2026-05" is May 2026, or mai 2026 in French."""
    year, index = _year_month(month)
    return f"{(FR_MONTHS if is_french(language) else EN_MONTHS)[index]}{NO_BREAK}{year}"


def short_month(month: str, language: str = "en") -> str:
    """A month for tables: "2026-05" is May 2026, "2026-09" Sep 2026 or sept. 2026."""
    year, index = _year_month(month)
    return f"{(FR_SHORT if is_french(language) else EN_SHORT)[index]}{NO_BREAK}{year}"


def quarter(year: int, which: int, language: str = "en") -> str:
    """A quarter of a calendar year: Q3 2026, or T3 2026 in French."""
    letter = "T" if is_french(language) else "Q"
    return f"{letter}{which}{NO_BREAK}{year}"


def _date(day: date | str) -> date:
    return date.fromisoformat(day) if isinstance(day, str) else day


def _year_month(month: str) -> tuple[int, int]:
    return int(month[:4]), int(month[5:7]) - 1


def _parts(value: Decimal, places: int) -> tuple[str, str, str]:
    exact = value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    whole, _, part = f"{abs(exact):,.{places}f}".partition(".")
    return (MINUS if exact < 0 else ""), whole, part


def _dollars(value: Decimal, places: int, language: str) -> str:
    sign, whole, part = _parts(value, places)
    if is_french(language):
        shown = whole.replace(",", NO_BREAK) + (f",{part}" if part else "")
        return f"{sign}{shown}{NO_BREAK}$"
    return f"{sign}${whole}" + (f".{part}" if part else "")
