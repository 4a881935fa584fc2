"""The lines of a block: principal and unpaid interest by use class."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from planning.core.kernel.exact import Flags, Floats, Ints, Spare, floats, prorate3, whole
from planning.core.kernel.loading import ADVANCE, CASH, DRAW, Loaded
from planning.core.kernel.nights import Nights
from planning.core.kernel.sums import Sums


class LineBlock:
    """One line by column, all of one way to pay its interest. Amounts in cents.

    `others` are the balances of the two classes that are never deducted, their
    unpaid interest within; what is not theirs is eligible. Without a mixed line
    in the block they are not looked at.
    """

    def __init__(self, loaded: Loaded, sums: Sums, left: Flags, spare: Spare) -> None:
        column = loaded.column
        self.sums = sums
        self.left = left
        self.mode = int(column("mode")[0])
        self.mixed = bool(column("mixed").any())
        self.returns = bool(column("returns").any())
        self.others = [floats(column("unsupported")), floats(column("ineligible"))]
        self.balance: Floats = floats(column("eligible")) + self.others[0] + self.others[1]
        self.linked = floats(column("linked"))
        self.nights = Nights(column("line_rate"), column("actual"), self.mixed, spare[0])
        # All of a posting is deducted at once, so the year's deduction is its interest.
        self.plain = self.mode != DRAW and not self.mixed
        zeros = np.zeros(0 if self.plain else loaded.size)
        self.interest = zeros.copy()
        self.unpaid = [zeros.copy() for _ in range(3)]
        self.waiting = zeros.copy()
        self.month_deductible = zeros.copy()
        self.seen: Floats = np.zeros(1)

    def begin(self, month: Ints, steps: Ints | None, *, first: bool) -> None:
        """Begin a month."""
        self.nights.begin(month, steps, first=first)
        if not self.plain:
            self.seen = np.zeros(1)
            self.month_deductible[:] = 0

    def carry(self, day: Floats) -> None:
        """Count the nights before `day` at the balances now."""
        self.nights.carry(self.balance, day)

    def draw(self, amount: Floats) -> None:
        """Borrow for the account."""
        self.balance += amount
        if self.returns:
            self.linked += amount

    def class_balance(self, index: int) -> Floats:
        """Principal and unpaid interest of one class."""
        if index:
            return self.others[index - 1]
        found: Floats = self.balance - self.others[0] - self.others[1]
        return found

    def pay_waiting(self, through: Floats, room: Callable[[], Floats]) -> None:
        """Pay unpaid interest by a draw on each day after the last one seen, as far as room goes.

        The room stands still meanwhile, since such a draw leaves the balance as
        it was: so many days pay so many times the room.
        """
        if self.mode != DRAW:
            return
        days = np.maximum(through - self.seen, 0)
        self.seen = np.maximum(self.seen, through)
        if not self.waiting.any():
            return
        each = room()
        paid: Floats = np.minimum(self.waiting, each * days)
        if self.mixed:
            part = (paid > 0) & (each < self.waiting)
            self.left |= part & (self.unpaid[1] + self.unpaid[2] > 0)
            eligible = np.where(paid == self.waiting, self.unpaid[0], paid)
            self.unpaid[0] -= eligible
            for index in (1, 2):
                self.unpaid[index] = np.where(paid == self.waiting, 0, self.unpaid[index])
        else:
            eligible = paid
        self.waiting -= paid
        self.month_deductible += eligible
        self.sums.add("interest_draw", paid)
        self.sums.add("line_interest_paid", paid)

    def post(self) -> Floats:
        """Post the month's interest, and pay it where the plan does; what the month deducts."""
        nights = self.nights
        posted = nights.post()
        self.sums.add("line_interest", posted)
        if self.mode != CASH:
            self.balance += posted
        if self.mode != DRAW:
            self.sums.add("line_interest_paid", posted)
            if self.mode == ADVANCE:
                self.sums.add("interest_draw", posted)
        if self.plain:
            deductible = posted
        else:
            self.interest += posted
            self._book(posted)
            deductible = self.month_deductible
        nights.done()
        self.sums.add("deductible", deductible)
        return deductible

    def _book(self, posted: Floats) -> None:
        """A posting by class, and when it is deducted."""
        shares = self._share_out(posted)
        if self.mode != CASH and self.mixed:
            self.others[0] += shares[1]
            self.others[1] += shares[2]
        if self.mode == DRAW:
            self.waiting += posted
            if self.mixed:
                for index in range(3):
                    self.unpaid[index] += shares[index]
        else:
            self.month_deductible += shares[0]

    def _share_out(self, posted: Floats) -> tuple[Floats, Floats, Floats]:
        """The posting by class, in proportion to balance x rate x nights."""
        if not self.mixed:
            return posted, posted, posted
        nights = self.nights
        unsupported = whole(self.others[0] * nights.rates)
        ineligible = whole(self.others[1] * nights.rates)
        eligible = whole(nights.whole) - unsupported - ineligible
        one, two, three = prorate3(whole(posted), eligible, unsupported, ineligible)
        return floats(one), floats(two), floats(three)

    def loses_use(self, moved: Floats) -> None:
        """Eligible principal becomes ineligible on the last day, after the posting."""
        self.linked -= moved
        self.others[1] += moved
