"""Amounts, dates and rates as banks write them. Each reader raises ValueError."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta, timezone
from decimal import Decimal
from functools import cache
from zoneinfo import ZoneInfo

_SPACES = str.maketrans("", "", " \u00a0\u202f\u2009\t'’")
_NUMBER = re.compile(
    r"[0-9]{1,13}(?:[.,][0-9]{1,2})?\Z"
    r"|[0-9]{1,3}(?:,[0-9]{3}){1,4}(?:\.[0-9]{1,2})?\Z"
    r"|[0-9]{1,3}(?:\.[0-9]{3}){1,4},[0-9]{1,2}\Z"
)
_OFX_DATE = re.compile(
    r"([0-9]{4})([0-9]{2})([0-9]{2})(?:([0-9]{2})([0-9]{2})([0-9]{2})?(?:\.[0-9]{1,6})?)?"
    r"\s*(?:\[([+-]?[0-9]{1,2})(?:\.([0-9]{1,2}))?(?::[^\]\s]{0,10})?\])?\Z"
)
_PERCENT = re.compile(r"(-?[0-9]{1,3}(?:[.,][0-9]{1,8})?)%\Z")
_FRACTION = re.compile(r"-?0?[.,][0-9]{1,10}\Z|-?0\Z")


def cents(text: str) -> int:
    """An amount in cents: "1,204.37", "1 204,37 $", "(61.03)", "61,03-".

    At most two decimals and thirteen digits; no exponents. A comma or point
    followed by three digits and nothing else ("1,204") could be either, and is
    refused.
    """
    plain = text.strip().translate(_SPACES).replace("\u2212", "-")
    for word in ("CAD", "$"):
        plain = plain.removeprefix(word).removesuffix(word).replace("-$", "-").replace("($", "(")
    negative = False
    if plain.startswith("(") and plain.endswith(")"):
        negative, plain = True, plain[1:-1].removesuffix("$")
    elif plain.startswith(("-", "+")):
        negative, plain = plain[0] == "-", plain[1:]
    elif plain.endswith(("-", "+")):
        negative, plain = plain[-1] == "-", plain[:-1]
    if plain.startswith((".", ",")):
        plain = "0" + plain
    if len(plain) > 24 or not _NUMBER.match(plain) or re.fullmatch(r"[0-9]+,[0-9]{3}", plain):
        raise ValueError("not an amount")
    whole, part = plain, ""
    if len(plain) > 2 and plain[-2] in ".,":
        whole, part = plain[:-2], plain[-1] + "0"
    elif len(plain) > 3 and plain[-3] in ".,":
        whole, part = plain[:-3], plain[-2:]
    digits = whole.replace(",", "").replace(".", "")
    if len(digits) > 13:
        raise ValueError("too many digits")
    found = int(digits) * 100 + int(part or "0")
    return -found if negative else found


@cache
def zone(name: str) -> ZoneInfo:
    """The time zone of a name such as "America/Toronto"."""
    return ZoneInfo(name)


def ofx_date(text: str, zone_name: str) -> date:
    """The calendar date of an OFX date and time in the household's zone.

    A time with an offset ("20260131230000[-5:EST]") is converted to the
    household's zone before its date is taken; a date or time without one is
    taken as written.
    """
    match = _OFX_DATE.match(text.strip())
    if not match:
        raise ValueError("not a date")
    year, month, day, hour, minute, second, offset, part = match.groups()
    moment = datetime(  # noqa: DTZ001 - given its zone below when the file states one
        int(year), int(month), int(day), int(hour or 0), int(minute or 0), int(second or 0)
    )
    if not 1900 <= moment.year <= 2200:
        raise ValueError("not a year")
    if offset is None or hour is None:
        return moment.date()
    hours = Decimal(f"{offset}.{part or 0}")
    if abs(hours) > 14:
        raise ValueError("not an offset")
    shift = timezone(timedelta(minutes=int(hours * 60)))
    return moment.replace(tzinfo=shift).astimezone(zone(zone_name)).date()


def rate(text: str) -> Decimal:
    """A yearly rate as a fraction: "0.0570", "5.70 %", "5,70 %"."""
    plain = text.strip().translate(_SPACES).replace("\u2212", "-")
    percent = _PERCENT.match(plain)
    if percent:
        found = Decimal(percent.group(1).replace(",", ".")) / 100
    elif _FRACTION.match(plain):
        found = Decimal(plain.replace(",", "."))
    else:
        raise ValueError("not a rate")
    if not Decimal("-0.05") <= found <= 1:
        raise ValueError("not a rate")
    return found


def fraction(text: str) -> Decimal:
    """A part of a whole from 0 to 1: "0.25", "1"."""
    if not re.fullmatch(r"(?:0?[.,][0-9]{1,12}|0|1(?:[.,]0{1,12})?)", text.strip()):
        raise ValueError("not a fraction")
    return Decimal(text.strip().replace(",", "."))


def percent_text(fraction: Decimal) -> str:
    """A fraction written in percent without loss: 0.0570 -> "5.7"."""
    return f"{(fraction * 100).normalize():f}"
