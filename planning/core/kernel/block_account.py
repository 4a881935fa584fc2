"""The investment accounts of a block, and the flat tax of their year."""

from __future__ import annotations

import math

import numpy as np

from planning.core.kernel.block_line import LineBlock
from planning.core.kernel.exact import (
    EXACT,
    FIXED,
    LARGEST,
    MONTHLY,
    Flags,
    Floats,
    Ints,
    Rate,
    Spare,
    common_part,
    divided_signed,
    floats,
    halved_up,
    whole,
)
from planning.core.kernel.family import TAX_PLACES
from planning.core.kernel.loading import PREPAY, REINVEST, Loaded
from planning.core.kernel.sums import Sums
from planning.core.types import YIELD_KINDS


class Account:
    """One account by column. Amounts in cents.

    Growth and distributions go by the month's opening value, and nothing looks at
    the value inside a month: so they are worked out when the month begins, and no
    opening value need be kept. What is distributed is `coming` until the last day
    and `held` from then on.
    """

    def __init__(self, loaded: Loaded, sums: Sums, spare: Spare) -> None:
        column = loaded.column
        self.sums = sums
        self.value = floats(column("value"))
        self.own = floats(column("own"))
        self.spare = spare
        self.growth = Rate(column("growth"), FIXED, cut_off=True, spare=spare[0])
        falls = column("falls")
        self.sign = floats(1 - 2 * falls) if falls.any() else None
        kinds = [kind for kind in YIELD_KINDS if column(f"yield_{kind}").any()]
        self.yields = [Rate(column(f"yield_{kind}"), MONTHLY, spare=spare[0]) for kind in kinds]
        self.paid = [np.zeros(loaded.size) for _kind in kinds]
        self.year_income = [np.zeros(loaded.size) for _kind in kinds]
        self.capital = next(
            (
                paid
                for kind, paid in zip(kinds, self.paid, strict=True)
                if kind == "return_of_capital"
            ),
            None,
        )
        self.reinvests = some(column("route") == REINVEST)
        self.holds = some(column("route") == PREPAY)
        self.returns = floats(column("returns"))
        self.some_return = bool(self.returns.any())
        self._tax(column("ordinary"), [column(f"tax_{kind}") for kind in kinds])
        self.coming = np.zeros(loaded.size)
        self.held = np.zeros(loaded.size)
        self.nothing_held = True
        self.distributed = np.zeros(loaded.size)

    def contribute(self, amount: Floats, *, own: bool = False) -> None:
        """Money that joins the account; it grows from the next month on."""
        self.value += amount
        if own and self.some_return:
            self.own += amount
        self.sums.add("contribution", amount)

    def release(self, paying: Floats | None) -> Floats:
        """Distributions held until a payment day, for those who pay today (None: all)."""
        if paying is None:
            self.nothing_held = True
            return self.held
        found = np.multiply(self.held, paying, out=self.spare[0])
        self.held -= found
        return found

    def begin(self) -> None:
        """Growth and distributions of the month, on the value it opens with."""
        growth = self.growth.times(self.value, out=self.spare[1])
        if self.sign is not None:
            growth *= self.sign
        self.sums.add("growth", growth)
        for rate, paid, income in zip(self.yields, self.paid, self.year_income, strict=True):
            rate.times(self.value, out=paid)
            np.add(income, paid, out=income)
        self.value += growth
        if self.yields:
            self._distribute()

    def _distribute(self) -> None:
        if len(self.paid) == 1:
            self.coming[:] = self.paid[0]
        else:
            np.add(self.paid[0], self.paid[1], out=self.coming)
            for more in self.paid[2:]:
                self.coming += more
        self.sums.add("distribution", self.coming)
        if self.reinvests is not None:
            self.value += self.coming * self.reinvests

    def close(self) -> None:
        """On the last day the month's distributions are held, where a prepayment awaits them."""
        if self.holds is None or not self.yields:
            return
        if self.holds.shape[0] > 1:
            self.coming *= self.holds
        if self.nothing_held:
            self.held, self.coming = self.coming, self.held
            self.nothing_held = False
        else:
            self.held += self.coming

    def released(self) -> Floats | int:
        """All that was offered as prepayments so far; ask after a year's close."""
        if self.holds is None or not self.yields:
            return 0
        return self.distributed * self.holds - self.held

    def capital_leaves(self, line: LineBlock) -> None:
        """Return of capital paid out: its borrowed part loses its use.

        min(L, round(L x R / (L + O))) of the line; the rest is own money.
        """
        if not self.some_return or self.capital is None:
            return
        capital, linked = whole(self.capital * self.returns), whole(line.linked)
        total = np.maximum(linked + whole(self.own), 1)
        moved = np.minimum(linked, (2 * linked * capital + total) // (2 * total))
        self.own = floats(np.maximum(whole(self.own) - (capital - moved), 0))
        line.loses_use(floats(moved))

    def _tax(self, ordinary: Ints, taxes: list[Ints]) -> None:
        """Tax rates over the smallest denominator they share."""
        common = math.gcd(10**TAX_PLACES // 2, *(common_part(one) for one in taxes))
        common = math.gcd(common, common_part(ordinary))
        self.tax_scale = 10**TAX_PLACES // common
        self.tax_fits = self.tax_scale * LARGEST < EXACT
        rates: list[Floats | Ints] = [
            floats(one // common) if self.tax_fits else one // common for one in (ordinary, *taxes)
        ]
        self.ordinary, self.taxes = rates[0], rates[1:]

    def saving(self, deducted: Floats, closing: slice) -> Floats:
        """The year's tax saving of some columns at flat rates; below zero when tax is owed.

        A new tax year begins for them.
        """
        exact = self._whole(deducted[closing]) * self.ordinary[closing]
        for tax, income in zip(self.taxes, self.year_income, strict=True):
            year = income[closing]
            exact -= self._whole(year) * tax[closing]
            self.distributed[closing] += year
            year.fill(0)
        if not self.tax_fits:
            return floats(divided_signed(exact.astype(np.int64), self.tax_scale))
        size = halved_up(np.abs(exact), self.tax_scale // 2, self.tax_scale)
        return np.copysign(size, exact)

    def _whole(self, amounts: Floats) -> Floats | Ints:
        """The amounts as they are multiplied: whole numbers where a float is too short."""
        return amounts if self.tax_fits else whole(amounts)


def some(chosen: Flags) -> Floats | None:
    """Ones and zeros for the columns chosen: None when no column is, a single one when all are."""
    if not chosen.any():
        return None
    return np.ones(1) if chosen.all() else chosen.astype(np.float64)
