"""One investment account as it stands: own money and cash received, not yet withdrawn.

What leaves an account takes borrowed and own money with it in proportion; only
income may leave without touching the link between the line and the account
(ITA 20(1)(c); Van Steenis v. The Queen, 2018 TCC 78, for return of capital).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from planning.core.money import round_half_up
from planning.core.types import Entry, Statement


@dataclass(slots=True)
class AccountState:
    """O_a, and the pools a withdrawal without a stated source is taken from, in cents."""

    ref: str
    statements: tuple[Statement, ...]
    own: int = 0
    income_pool: int = 0
    capital_pool: int = 0

    def receive(self, entry: Entry) -> None:
        """A distribution: reinvested income becomes own money, cash waits in its pool."""
        capital = entry.of == "return_of_capital"
        if entry.paid == "reinvested":
            # A reinvested return of capital changes nothing.
            self.own += 0 if capital else entry.amount_cents
        elif capital:
            self.capital_pool += entry.amount_cents
        else:
            self.income_pool += entry.amount_cents

    def pay_out(self, entry: Entry) -> tuple[int, int]:
        """Take a withdrawal out of the pools; returns its capital and proceeds parts.

        One that says what it is is believed; else income received comes first,
        then capital received, and the rest is proceeds of a sale.
        """
        amount = entry.amount_cents
        if entry.of is None:
            income = min(amount, self.income_pool)
            capital = min(amount - income, self.capital_pool)
        else:
            income = amount if entry.of == "income" else 0
            capital = amount if entry.of == "return_of_capital" else 0
        self.income_pool = max(0, self.income_pool - income)
        self.capital_pool = max(0, self.capital_pool - capital)
        return capital, amount - income - capital

    def take_own(self, cents: int) -> int:
        """Take own money out, never below zero; returns what was taken."""
        taken = min(self.own, max(0, cents))
        self.own -= taken
        return taken

    def cost_fraction(self, entry: Entry, cents: int, statement: Statement) -> Fraction:
        """f: the share of the holding's cost that leaves.

        As stated, else the amount over the value of the latest statement that
        ended before, else over the opening of the entry's own statement; at most 1.
        """
        if entry.cost_fraction is not None:
            return Fraction(entry.cost_fraction)
        value = self._value_before(entry.date)
        if value is None:
            value = statement.opening_cents
        return min(Fraction(1), Fraction(cents, value)) if value > 0 else Fraction(1)

    def _value_before(self, day: date) -> int | None:
        found = None
        for one in self.statements:
            if one.ends < day:
                found = one.closing_cents if one.value_cents is None else one.value_cents
        return found


@dataclass(frozen=True, slots=True)
class Outflow:
    """What a withdrawal moves: linked principal and own money, in cents."""

    moved: int
    own: int


def capital_outflow(linked: int, own: int, cents: int) -> Outflow:
    """A return of capital R leaving: moved = min(L, round(phi x R)), phi = L / (L + O)."""
    share = Fraction(linked, linked + own) if linked + own else Fraction(0)
    moved = min(linked, round_half_up(share * cents))
    return Outflow(moved, cents - moved)


def proceeds_outflow(
    linked: int,
    own: int,
    withdrawn: int,
    proceeds: int,
    fraction: Fraction,
    *,
    reinvested: bool = False,
) -> Outflow:
    """Sale proceeds leaving: W withdrawn of S, the part sold having cost fraction f.

    D = round(L x f). S >= D: moved max(0, D - (S - W)); S < D: moved
    round(D x W / S). A total sale below the debt with nothing reinvested moves
    the proceeds only: the vanished rest is deemed still used (ITA 20.1(1)).
    `reinvested`: W goes to another account and the link follows it whole, though
    the replacement be worth less (Tennant v. MNR, [1996] 1 SCR 305).
    """
    debt = round_half_up(linked * fraction)
    if proceeds >= debt:
        moved = max(0, debt - (proceeds - withdrawn))
    elif fraction == 1 and withdrawn == proceeds and not reinvested:
        moved = withdrawn
    else:
        moved = round_half_up(Fraction(debt * withdrawn, proceeds))
    share = fraction * Fraction(withdrawn, proceeds) if proceeds else Fraction(0)
    return Outflow(min(moved, linked), round_half_up(own * share))
