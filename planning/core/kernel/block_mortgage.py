"""The mortgages of a block: payments, changes of term, prepayments, the part above the cap."""

from __future__ import annotations

import numpy as np

from planning.core.kernel.exact import FIXED, MONTHLY, PAYMENT, Flags, Ints, Rate, ratio
from planning.core.kernel.loading import (
    EXCESS_FIRST,
    NO_RULE,
    PREPAY,
    PROPORTIONAL,
    REFUND_PREPAID,
    Loaded,
)
from planning.core.kernel.sums import Sums


class MortgageBlock:
    """One mortgage by column. Amounts in cents."""

    def __init__(self, loaded: Loaded, sums: Sums, left: Flags) -> None:
        column = loaded.column
        self.sums = sums
        self.left = left
        self.balance = column("mortgage").copy()
        self.payment = column("payment").copy()
        self.simple = bool(column("simple")[0])
        self.numerators = column("rate").copy()
        self.rate = self._rate()
        self.excess = column("excess").copy()
        self.rule = column("rule")
        self.pay_at = column("pay_day")
        self.waits = column("first") - column("start")  # months before the first payment
        self.longest_wait = int(self.waits.max())
        self.contractual = column("contractual")
        self.final = self.waits + self.contractual - 1  # month of the last contractual payment
        self.first_final = int(self.final.min())
        self.privilege = column("privilege")
        self.prepaid: Ints = np.zeros(loaded.size, dtype=np.int64)
        self.prepays = bool(
            loaded.extras.size
            or (column("route") == PREPAY).any()
            or (column("refund_to") == REFUND_PREPAID).any()
        )
        self.changes: dict[int, Ints] = {}
        for row_month in np.unique(loaded.changes[:, 1]).tolist():
            self.changes[row_month] = loaded.changes[loaded.changes[:, 1] == row_month]
        self.has_excess = True
        self.look_at_excess()

    def _rate(self) -> Rate:
        if self.simple:
            return Rate(self.numerators, MONTHLY)
        return Rate(self.numerators, FIXED, cut_off=True)

    def look_at_excess(self) -> None:
        """Note whether any part above the cap is left: it only ever falls."""
        if not self.has_excess:
            return
        self.has_excess = bool(self.excess.any())
        above = self.rule[self.excess > 0]
        self.some_first = bool((above == EXCESS_FIRST).any())
        self.some_share = bool((above == PROPORTIONAL).any())

    def begin(self, number: Ints) -> None:
        """Begin a month; in January the privilege begins anew."""
        if self.prepays and not number.all():
            self.prepaid = np.where(number == 0, 0, self.prepaid)

    def payment_day(self, last: Ints) -> Ints:
        """The day of the month's payment, clipped to the month's last day."""
        found: Ints = np.minimum(self.pay_at, last)
        return found

    def pays(self, month: int) -> Flags:
        """Whether the month has a payment."""
        owing: Flags = self.balance > 0
        if month < self.longest_wait:
            owing &= self.waits <= month
        return owing

    def pay(self, month: int) -> tuple[Flags | None, Ints]:
        """The month's payments: who pays (None: all do), and the room freed."""
        paying = self.pays(month)
        everyone = bool(paying.all())
        changes = self.changes.get(month)
        if changes is not None:
            self.numerators[changes[:, 0]] = changes[:, 2]
            self.left |= self.rate.doubt
            self.rate = self._rate()
        interest = self.rate.times(self.balance)
        owed = self.balance + interest
        if changes is not None:
            self._change_payment(changes, interest, owed)
        paid = np.minimum(self.payment, owed)
        if month >= self.first_final:
            rest = (self.final <= month) & (owed < 2 * self.payment)
            np.copyto(paid, owed, where=rest)
        if month < self.longest_wait:
            paid = np.where(paying, paid, 0)
            interest = np.where(paying, interest, 0)
        principal: Ints = paid - interest
        self.sums.add("interest", interest)
        self.sums.add("payment", paid)
        self.sums.add("principal", principal)
        freed = np.maximum(principal, 0)
        freed = freed - self._to_excess(freed)
        self.balance -= principal
        return None if everyone else paying, freed

    def _change_payment(self, changes: Ints, interest: Ints, owed: Ints) -> None:
        at, stated, factor = changes[:, 0], changes[:, 3], changes[:, 4]
        factors = Rate(factor, PAYMENT, cut_off=True)
        solved = factors.times(self.balance[at])
        solved = np.where(factor > 0, solved, owed[at])
        self.payment[at] = np.where(stated > 0, stated, solved)
        short = (self.payment[at] <= interest[at]) & (self.balance[at] > 0)
        self.left[at] |= short | (factors.doubt & (factor > 0))

    def prepay_each(self, offers: list[Ints]) -> Ints:
        """Prepay one offer after the other; the room freed.

        Their sum comes to the same, unless a part of each is rounded.
        """
        if self.has_excess and self.some_share:
            return sum((self.prepay(one) for one in offers), np.zeros(1, dtype=np.int64))
        return self.prepay(sum(offers[1:], offers[0]))

    def prepay(self, offered: Ints) -> Ints:
        """Prepay what is offered within the privilege; the room freed. The rest is refused."""
        taken = np.minimum(self.privilege - self.prepaid, self.balance)
        taken = np.minimum(offered, taken, out=taken)
        self.prepaid += taken
        sent = self._to_excess(taken)
        self.balance -= taken
        self.sums.add("prepayment", taken)
        self.sums.add("refused", offered - taken)
        freed: Ints = taken - sent
        return freed

    def _to_excess(self, principal: Ints) -> Ints:
        """The part of a principal payment that lowers the part above the cap.

        Call it before the balance falls.
        """
        sent = np.zeros(1, dtype=np.int64)
        if not self.has_excess:
            return sent
        sent = np.minimum(principal, self.excess)
        if self.some_share:
            share = np.minimum(sent, ratio(principal, self.excess, self.balance))
            sent = np.where((self.rule == PROPORTIONAL) & (self.balance > 0), share, sent)
        sent = np.where(self.rule == NO_RULE, 0, sent)
        self.excess -= sent
        return sent
