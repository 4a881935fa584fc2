"""Dates in CSV files, whose order of day and month must be beyond doubt."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from typing import Literal

from ledger.core.formats.words import plain

Order = Literal["dmy", "mdy"]
_TIME = re.compile(r"[ T][0-9]{1,2}:[0-9]{2}.{0,20}\Z")
_ISO = re.compile(r"([0-9]{4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,2})\Z")
_COMPACT = re.compile(r"([0-9]{4})([0-9]{2})([0-9]{2})\Z")
_NUMERIC = re.compile(r"([0-9]{1,2})[-/.]([0-9]{1,2})[-/.]([0-9]{4})\Z")
_MONTHS = (
    ("jan",),
    ("feb", "fev"),
    ("mar",),
    ("apr", "avr"),
    ("may", "mai"),
    ("jun", "juin"),
    ("jul", "juil"),
    ("aug", "aou"),
    ("sep",),
    ("oct",),
    ("nov",),
    ("dec",),
)


def _clean(text: str) -> str:
    return _TIME.sub("", text.strip())


def decide_order(texts: Iterable[str]) -> Order | None:
    """The order all the dates together allow; None when it stays open.

    A day above 12 in either place decides. Dates that contradict each other
    decide by the first such one; the others are then not dates, and are named.
    Dates in which day and month are equal, or in other writings, say nothing.
    """
    open_question = False
    for text in texts:
        match = _NUMERIC.match(_clean(text))
        if not match:
            continue
        first, second = int(match.group(1)), int(match.group(2))
        if first > 12:
            return "dmy"
        if second > 12:
            return "mdy"
        open_question = open_question or first != second
    return None if open_question else "dmy"


def read_date(text: str, order: Order | None) -> date:
    """A date: ISO, compact, day and month by `order`, or with the month in letters.

    Raises ValueError, with "order" as its text when only the order is in doubt.
    """
    plain_text = _clean(text)
    iso = _ISO.match(plain_text) or _COMPACT.match(plain_text)
    if iso:
        return _in_range(int(iso.group(1)), int(iso.group(2)), int(iso.group(3)))
    numeric = _NUMERIC.match(plain_text)
    if numeric:
        first, second, year = (int(part) for part in numeric.groups())
        if order is None and first != second:
            raise ValueError("order")
        day, month = (second, first) if order == "mdy" else (first, second)
        return _in_range(year, month, day)
    return _in_letters(plain_text)


def _in_letters(text: str) -> date:
    numbers: list[int] = []
    month = 0
    for word in plain(text)[:40].split():
        if word.isdigit() and len(word) <= 4:
            numbers.append(int(word))
        elif not month:
            month = next((n for n, names in enumerate(_MONTHS, 1) if word[:4].startswith(names)), 0)
            if not month:
                raise ValueError("not a month")
    if not month or len(numbers) != 2:
        raise ValueError("not a date")
    day, year = sorted(numbers)
    return _in_range(year, month, day)


def _in_range(year: int, month: int, day: int) -> date:
    if not 1900 <= year <= 2200:
        raise ValueError("not a year")
    return date(year, month, day)
