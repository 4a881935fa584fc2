"""The header block of a CSV statement: account, period, balances, limit, rates."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TypeVar

from ledger.core.formats import values
from ledger.core.formats.csv_dates import Order, read_date
from ledger.core.formats.csv_layout import HeaderLine, Table
from ledger.core.formats.faults import Faults, shown
from ledger.core.formats.words import ACCOUNT_WORDS, plain
from planning.core.household_parts import AccountType

T = TypeVar("T")
_BETWEEN = re.compile(r"\s+(?:to|au|à|-|–|—)\s+|\s*\.\.\s*|\s*[–—]\s*")
AMOUNT_REMEDY = "Write it with at most two decimals, such as 1204.37 or 1 204,37"


@dataclass(frozen=True, slots=True)
class Header:
    """What the header block says; None and "" for what it does not."""

    account: str
    currency: str
    kind: AccountType | None
    starts: date | None
    ends: date | None
    opening_cents: int | None
    closing_cents: int | None
    limit_cents: int | None
    available_cents: int | None
    value_cents: int | None
    rates: tuple[tuple[date, Decimal], ...]


def date_texts(table: Table) -> Iterator[str]:
    """Every text of the header block that may be a date, for deciding their order."""
    for line in table.header:
        if line.key in ("starts", "ends", "rate"):
            yield from line.values
        elif line.key == "period":
            for one in line.values:
                yield from _BETWEEN.split(one)


class _Reader:
    def __init__(self, table: Table, order: Order | None, faults: Faults) -> None:
        self.table = table
        self.order = order
        self.faults = faults

    def one(self, key: str, read: Callable[[str], T], what: str, remedy: str) -> T | None:
        """The single value under a key; a second line with the key is a fault."""
        lines = [line for line in self.table.header if line.key == key and line.values]
        for line in lines[1:]:
            if line.values != lines[0].values:
                self.faults.add(line.line, key, f"{key} is given twice", "Keep one of them")
        return self.read(lines[0], lines[0].values[0], read, what, remedy) if lines else None

    def read(
        self, line: HeaderLine, text: str, read: Callable[[str], T], what: str, remedy: str
    ) -> T | None:
        try:
            return read(text)
        except ValueError as error:
            if str(error) == "order":
                what, remedy = f"{what} without doubt: day or month first", "Write YYYY-MM-DD"
            self.faults.add(line.line, line.key, f"{shown(text)} is not {what}", remedy)
            return None

    def day(self, text: str) -> date:
        return read_date(text, self.order)

    def cents(self, key: str) -> int | None:
        return self.one(key, values.cents, "an amount", AMOUNT_REMEDY)

    def period(self) -> tuple[date | None, date | None]:
        starts = self.one("starts", self.day, "a date", "Write YYYY-MM-DD")
        ends = self.one("ends", self.day, "a date", "Write YYYY-MM-DD")
        for line in self.table.header:
            if line.key != "period":
                continue
            parts = list(line.values) if len(line.values) == 2 else _BETWEEN.split(line.values[0])
            if len(parts) != 2:
                self.faults.add(
                    line.line, "period", "the period is not two dates", "Write first to last day"
                )
                continue
            first, last = (
                self.read(line, part, self.day, "a date", "Write YYYY-MM-DD") for part in parts
            )
            starts, ends = starts or first, ends or last
        return starts, ends

    def rates(self, starts: date | None) -> tuple[tuple[date, Decimal], ...]:
        found: dict[date, Decimal] = {}
        for line in self.table.header:
            if line.key != "rate" or not line.values:
                continue
            day: date | None = starts
            if len(line.values) > 1:
                day = self.read(line, line.values[0], self.day, "a date", "Write YYYY-MM-DD")
            rate = self.read(line, line.values[-1], values.rate, "a rate", "Write 0.0570 or 5.70 %")
            if day is None and len(line.values) == 1:
                self.faults.add(line.line, "rate", "the rate has no date", "Write rate,DATE,RATE")
            if day is not None and rate is not None:
                found[day] = rate
        return tuple(sorted(found.items()))


def read_header(table: Table, order: Order | None, faults: Faults) -> Header:
    """The header block as values; what cannot be read goes to `faults`."""
    reader = _Reader(table, order, faults)
    starts, ends = reader.period()

    def kind(text: str) -> AccountType:
        found = ACCOUNT_WORDS.get(plain(text))
        if found is None:
            raise ValueError("not a kind")
        return found

    wanted = "Write line, mortgage or investment"
    known = reader.one("kind", kind, "a kind of account", wanted) if _strict(table) else None
    if not _strict(table):
        for line in table.header:
            if line.key == "kind" and line.values:
                known = ACCOUNT_WORDS.get(plain(line.values[0]))
    return Header(
        account=reader.one("account", str, "an account", "") or "",
        currency=(reader.one("currency", str, "a currency", "") or "CAD").upper(),
        kind=known,
        starts=starts,
        ends=ends,
        opening_cents=reader.cents("opening"),
        closing_cents=reader.cents("closing"),
        limit_cents=reader.cents("limit"),
        available_cents=reader.cents("available"),
        value_cents=reader.cents("value"),
        rates=reader.rates(starts),
    )


def _strict(table: Table) -> bool:
    return table.own
