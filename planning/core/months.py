"""Calendar months as text "YYYY-MM", the key of every monthly row."""

from __future__ import annotations

from calendar import monthrange
from datetime import date


def month_of(day: date) -> str:
    """The month a day falls in: 2026-05-31 -> "2026-05"."""
    return f"{day.year:04d}-{day.month:02d}"


def _parts(month: str) -> tuple[int, int]:
    year, dash, number = month.partition("-")
    if not (dash and len(year) == 4 and len(number) == 2 and (year + number).isdigit()):
        raise ValueError(f"{month!r} is not a month; write it as 2026-05")
    if not 1 <= int(number) <= 12:
        raise ValueError(f"{month!r} has no such month of the year")
    return int(year), int(number)


def first_day(month: str) -> date:
    """The first day of a month. Raises ValueError for text that names no month."""
    year, number = _parts(month)
    return date(year, number, 1)


def last_day(month: str) -> date:
    """The last day of a month. Raises ValueError for text that names no month."""
    year, number = _parts(month)
    return date(year, number, monthrange(year, number)[1])


def next_month(month: str) -> str:
    """The month after: "2026-12" -> "2027-01"."""
    return shift_month(month, 1)


def shift_month(month: str, by: int) -> str:
    """The month `by` months later, or earlier when `by` is negative."""
    year, number = _parts(month)
    index = year * 12 + (number - 1) + by
    return f"{index // 12:04d}-{index % 12 + 1:02d}"


def months_between(first: str, last: str) -> tuple[str, ...]:
    """Every month from `first` to `last`, both included; empty when last < first."""
    months: list[str] = []
    month = shift_month(first, 0)
    while month <= last:
        months.append(month)
        month = next_month(month)
    return tuple(months)


def day_in_month(year: int, month: int, day: int) -> date:
    """The given day of a month, clipped to the month's last day (31 -> 30, 29, 28)."""
    return date(year, month, min(day, monthrange(year, month)[1]))
