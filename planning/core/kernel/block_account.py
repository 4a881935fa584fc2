"""The investment accounts of a block, and the flat tax of their year."""

from __future__ import annotations

import numpy as np

from planning.core.kernel.block_line import LineBlock
from planning.core.kernel.exact import FIXED, MONTHLY, Flags, Ints, Rate, divided_signed
from planning.core.kernel.family import TAX_PLACES
from planning.core.kernel.loading import PREPAY, REINVEST, Loaded
from planning.core.kernel.sums import Sums
from planning.core.types import YIELD_KINDS


class Account:
    """One account by column. Amounts in cents."""

    def __init__(self, loaded: Loaded, sums: Sums) -> None:
        column = loaded.column
        self.sums = sums
        self.value = column("value").copy()
        self.opening = self.value.copy()
        self.own = column("own").copy()
        self.growth = Rate(column("growth"), FIXED, cut_off=True)
        falls = column("falls")
        self.sign = 1 - 2 * falls if falls.any() else None
        self.yields = [
            (kind, Rate(column(f"yield_{kind}"), MONTHLY), column(f"tax_{kind}"))
            for kind in YIELD_KINDS
            if column(f"yield_{kind}").any()
        ]
        self.reinvests = column("route") == REINVEST
        self.holds = column("route") == PREPAY
        self.all_hold, self.none_hold = bool(self.holds.all()), not self.holds.any()
        self.some_reinvest = bool(self.reinvests.any())
        self.returns = column("returns") > 0
        self.some_return = bool(self.returns.any())
        self.ordinary = column("ordinary")
        zeros = np.zeros(loaded.size, dtype=np.int64)
        self.held = zeros.copy()
        self.taxed = zeros.copy()
        self.capital = zeros

    def contribute(self, amount: Ints, *, own: bool = False) -> None:
        """Money that joins the account; it grows from the next month on."""
        self.value += amount
        if own and self.some_return:
            self.own += amount
        self.sums.add("contribution", amount)

    def release(self, paying: Flags | None) -> Ints:
        """Distributions held until a payment day, for those who pay today (None: all)."""
        if paying is None:
            found, self.held = self.held, np.zeros_like(self.held)
            return found
        found = np.where(paying, self.held, 0)
        self.held -= found
        return found

    def close(self) -> None:
        """Growth and distributions on the month's opening value."""
        growth = self.growth.times(self.opening)
        if self.sign is not None:
            growth *= self.sign
        self.sums.add("growth", growth)
        self.value += growth
        if self.yields:
            self._distribute()
        self.opening = self.value.copy()

    def _distribute(self) -> None:
        total = np.zeros(self.value.shape[0], dtype=np.int64)
        for kind, rate, tax in self.yields:
            paid = rate.times(self.opening)
            total += paid
            if kind == "return_of_capital":
                self.capital = paid
            else:
                self.taxed += paid * tax
        self.sums.add("distribution", total)
        if self.some_reinvest:
            self.value += np.where(self.reinvests, total, 0)
        if self.all_hold:
            self.held += total
        elif not self.none_hold:
            self.held += np.where(self.holds, total, 0)

    def capital_leaves(self, line: LineBlock) -> None:
        """Return of capital paid out: its borrowed part loses its use.

        min(L, round(L x R / (L + O))) of the line; the rest is own money.
        """
        if not self.some_return:
            return
        capital = np.where(self.returns, self.capital, 0)
        whole = np.maximum(line.linked + self.own, 1)
        moved = np.minimum(line.linked, (2 * line.linked * capital + whole) // (2 * whole))
        self.own = np.maximum(self.own - (capital - moved), 0)
        line.loses_use(moved)

    def saving(self, deducted: Ints, closing: Ints) -> Ints:
        """The year's tax saving of some columns at flat rates; below zero when tax is owed.

        A new tax year begins for them.
        """
        exact = self.ordinary[closing] * deducted[closing] - self.taxed[closing]
        self.taxed[closing] = 0
        return divided_signed(exact, 10**TAX_PLACES)
