"""Reading the fields of OFX elements: amounts, dates, balances, our own tags."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date
from decimal import Decimal
from typing import TypeVar

from ledger.core.formats import values
from ledger.core.formats.faults import Faults, shown
from ledger.core.formats.markup import Element
from ledger.core.formats.types import KINDS, PAID, WITHDRAWAL_SOURCES, ReadOptions
from ledger.core.formats.words import Said, plain
from planning.core.household_parts import AccountType
from planning.core.types import YIELD_KINDS

T = TypeVar("T")
AMOUNT_REMEDY = "Write it with at most two decimals, such as -1204.37; export the file again"
DATE_REMEDY = "Write YYYYMMDD, such as 20260131; export the file again"


class Fields:
    """Typed access to elements; what cannot be read goes to `faults`."""

    def __init__(self, faults: Faults, options: ReadOptions) -> None:
        self.faults = faults
        self.options = options

    def cents(self, parent: Element, *names: str, needed: bool = True) -> int | None:
        """An amount in cents. An element that is there but empty is a fault."""
        return self._read(parent, names, needed, values.cents, "an amount", AMOUNT_REMEDY)

    def day(self, parent: Element, *names: str, needed: bool = True) -> date | None:
        """A calendar date in the household's zone."""

        def read(text: str) -> date:
            return values.ofx_date(text, self.options.zone)

        return self._read(parent, names, needed, read, "a date", DATE_REMEDY)

    def _read(
        self,
        parent: Element,
        names: tuple[str, ...],
        needed: bool,  # noqa: FBT001 - private, always passed on by name above
        read: Callable[[str], T],
        what: str,
        remedy: str,
    ) -> T | None:
        found = parent.first(*names)
        if found is None:
            if needed:
                self.faults.add(parent.line, names[0], f"<{names[0]}> is missing", remedy)
            return None
        if not found.text:
            self.faults.add(found.line, found.name, f"<{found.name}> is empty", remedy)
            return None
        try:
            return read(found.text)
        except (ValueError, OverflowError):
            self.faults.add(found.line, found.name, f"{shown(found.text)} is not {what}", remedy)
            return None

    def choice(self, parent: Element, name: str, known: Iterable[str]) -> str | None:
        """One of our own tags with a closed list of words."""
        found = parent.first(name)
        if found is None:
            return None
        allowed = tuple(known)
        if found.text not in allowed:
            self.faults.add(
                found.line,
                name,
                f"{shown(found.text)} is not known here",
                f"Use one of: {', '.join(allowed)}",
            )
            return None
        return found.text

    def currency(self, statement: Element) -> str:
        """The statement's currency; a posting in another one is a fault."""
        for one in statement.all("BANKTRANLIST", "LOANTRANLIST", "INVTRANLIST"):
            for posting in one.children:
                foreign = posting.first("CURRENCY")
                symbol = foreign.value("CURSYM") if foreign else ""
                if foreign and symbol and symbol.upper() != "CAD":
                    self.faults.add(
                        foreign.line,
                        "CURRENCY",
                        f"this posting is in {symbol}",
                        "The books are in Canadian dollars: import the CAD account",
                    )
        return statement.value("CURDEF").upper()


class Balances:
    """The named balances of a BALLIST: opening, limit, market value and rates."""

    def __init__(self, statement: Element, fields: Fields) -> None:
        self.opening: int | None = None
        self.limit: int | None = None
        self.value: int | None = None
        rates: dict[date, Decimal] = {}
        lists = statement.all("BALLIST")
        for holder in statement.all("INVBAL"):
            lists += holder.all("BALLIST")
        for one in (bal for found in lists for bal in found.all("BAL")):
            name = plain(one.value("NAME"))
            if one.value("BALTYPE").upper() == "PERCENT" or name in ("rate", "taux"):
                self._rate(one, fields, rates)
            elif name in ("opening", "opening balance", "previous balance", "solde d ouverture"):
                self.opening = fields.cents(one, "VALUE")
            elif name in ("limit", "credit limit", "limite", "limite de credit"):
                self.limit = fields.cents(one, "VALUE")
            elif name in ("market value", "valeur marchande"):
                self.value = fields.cents(one, "VALUE")
        self.rates = tuple(sorted(rates.items()))

    def _rate(self, one: Element, fields: Fields, rates: dict[date, Decimal]) -> None:
        day = fields.day(one, "DTASOF")
        try:
            rate = values.rate(one.value("VALUE").rstrip("% ") + "%")
        except ValueError:
            fields.faults.add(
                one.line,
                "VALUE",
                f"{shown(one.value('VALUE'))} is not a rate in percent",
                "Write 5.70 for 5.70 %",
            )
            return
        if day is not None:
            rates[day] = rate


def said_outright(
    posting: Element, account: AccountType | None, inferred: Said, fields: Fields
) -> Said:
    """The inferred kind, corrected by our own tags where the file carries them."""
    if account is None:
        return inferred
    kind = fields.choice(posting, "TOWPATH.KIND", KINDS[account]) or inferred.kind
    if kind != inferred.kind:
        inferred = Said(kind)
    sources = YIELD_KINDS if kind == "distribution" else WITHDRAWAL_SOURCES
    of = fields.choice(posting, "TOWPATH.OF", (*sources, "none")) or inferred.of
    paid = fields.choice(posting, "TOWPATH.PAID", PAID) or inferred.paid
    to = posting.value("TOWPATH.TO") or inferred.to
    return Said(kind, of=None if of == "none" else of, paid=paid, to=to)


def cost_fraction(posting: Element, fields: Fields) -> Decimal | None:
    """Our own tag for the cost fraction of a sale or transfer."""
    found = posting.first("TOWPATH.COSTFRACTION")
    if found is None:
        return None
    try:
        return values.fraction(found.text)
    except ValueError:
        fields.faults.add(
            found.line,
            found.name,
            f"{shown(found.text)} is not a fraction",
            "Write a fraction from 0 to 1, such as 0.25",
        )
        return None
