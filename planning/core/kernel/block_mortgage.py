"""The mortgages of a block: payments, changes of term, prepayments, the part above the cap."""

from __future__ import annotations

import numpy as np

from planning.core.kernel.exact import (
    FIXED,
    MONTHLY,
    PAYMENT,
    Flags,
    Floats,
    Ints,
    Rate,
    Spare,
    floats,
    ratio,
    whole,
)
from planning.core.kernel.loading import NO_RULE, PROPORTIONAL, Loaded
from planning.core.kernel.sums import Sums


class MortgageBlock:
    """One mortgage by column. Amounts in cents.

    `freed` is the principal of the day so far that frees room; `left_to_prepay`
    what the year's privilege still allows; `offered` the cash for prepayments that
    does not come from the account.
    """

    def __init__(self, loaded: Loaded, sums: Sums, left: Flags, spare: Spare) -> None:
        column = loaded.column
        self.sums = sums
        self.left = left
        self.spare = spare
        self.balance = floats(column("mortgage"))
        self.payment = floats(column("payment"))
        self.simple = bool(column("simple")[0])
        self.numerators = column("rate").copy()
        self.rate = self._rate()
        self.rule = column("rule")
        # Without a rule the part above the cap stays: it is a part of the cap then.
        self.stays = floats(np.where(self.rule == NO_RULE, column("excess"), 0))
        self.excess = floats(column("excess")) - self.stays
        self.waits = column("first") - column("start")  # months before the first payment
        self.longest_wait = max(0, int(self.waits.max()))
        # The month of the last contractual payment.
        self.final = self.waits + column("contractual") - 1
        self.first_final = int(self.final.min())
        self.privilege = floats(column("privilege"))
        self.left_to_prepay = self.privilege.copy()
        self.prepaid = np.zeros(loaded.size)
        self.offered = np.zeros(loaded.size)
        self.interest = np.zeros(loaded.size)
        self.freed = np.zeros(loaded.size)
        self.falls_short = True
        self.changes = by_month(loaded.changes)
        self._some_paid_off = False
        self.has_excess = True
        self.look_at_excess()

    def _rate(self) -> Rate:
        if self.simple:
            return Rate(self.numerators, MONTHLY, spare=self.spare[0])
        return Rate(self.numerators, FIXED, cut_off=True, spare=self.spare[0])

    def look_at_excess(self) -> None:
        """Note whether any part above the cap is left: it only ever falls."""
        if self.has_excess:
            above = self.rule[self.excess > 0]
            self.has_excess = bool(above.size)
            self.some_share = bool((above == PROPORTIONAL).any())

    def new_year(self, columns: slice) -> None:
        """In January the privilege begins anew."""
        left, privilege = self.left_to_prepay[columns], self.privilege[columns]
        self.prepaid[columns] += privilege - left
        left[:] = privilege

    def paying(self, month: int) -> Floats | None:
        """Who has a payment in the month, 1 or 0 by column; None when all have."""
        if month >= self.longest_wait and not self._some_paid_off:
            if np.minimum.reduce(self.balance) > 0:
                return None
            self._some_paid_off = True
        found = np.minimum(self.balance, 1.0)  # whole cents: 1 when anything is owed
        if month < self.longest_wait:
            found *= self.waits <= month
        return found

    def pay(self, month: int, paying: Floats | None) -> None:
        """The month's payments."""
        changes = self.changes.get(month)
        if changes is not None:
            self.numerators[changes[:, 0]] = changes[:, 2]
            self.left |= self.rate.doubt
            self.rate = self._rate()
        _, interest, paid = self.spare
        balance = self.balance
        self.rate.times(balance, out=interest)
        balance += interest
        if changes is not None:
            self._change_payment(changes, interest, balance)
        np.minimum(self.payment, balance, out=paid)
        if month >= self.first_final:
            rest = (self.final <= month) & (balance < 2 * self.payment)
            np.copyto(paid, balance, where=rest)
        if paying is not None and month < self.longest_wait:
            paid *= paying
            balance -= interest
            interest *= paying
            balance += interest
        balance -= paid
        self.interest += interest
        if self.sums.kept:
            self.sums.add("interest", interest)
            self.sums.add("payment", paid)
            self.sums.add("principal", paid - interest)
        principal = self.freed
        np.subtract(paid, interest, out=principal)
        if changes is not None or month <= self.longest_wait:
            # A payment that covers the interest covers it until the rate changes.
            self.falls_short = bool((principal < 0).any())
        if self.falls_short:
            np.maximum(principal, 0, out=principal)
        if self.has_excess and self.some_share:
            self.freed -= self._share_to_excess(principal, balance + paid - interest)

    def _change_payment(self, changes: Ints, interest: Floats, owed: Floats) -> None:
        at, stated, factor = changes[:, 0], floats(changes[:, 3]), changes[:, 4]
        factors = Rate(factor, PAYMENT, cut_off=True)
        solved = factors.times(owed[at] - interest[at])
        solved = np.where(factor > 0, solved, owed[at])
        self.payment[at] = np.where(stated > 0, stated, solved)
        short = (self.payment[at] <= interest[at]) & (owed[at] > interest[at])
        self.left[at] |= short | (factors.doubt & (factor > 0))

    def prepay_each(self, offers: list[Floats]) -> None:
        """Prepay one offer after the other.

        Their sum comes to the same, unless a part of each is rounded.
        """
        if not (self.has_excess and self.some_share):
            for other in offers[1:]:
                offers[0] += other  # each is the caller's to spend
            del offers[1:]
        for one in offers:
            self.prepay(one)

    def prepay(self, offered: Floats) -> None:
        """Prepay what is offered within the privilege. The rest is refused."""
        taken = self.spare[2]
        np.minimum(self.left_to_prepay, self.balance, out=taken)
        np.minimum(offered, taken, out=taken)
        self.left_to_prepay -= taken
        self.freed += taken
        if self.has_excess and self.some_share:
            self.freed -= self._share_to_excess(taken, self.balance)
        self.balance -= taken
        if self.sums.kept:
            self.sums.add("prepayment", taken)
            self.sums.add("refused", offered - taken)

    def _share_to_excess(self, principal: Floats, before: Floats) -> Floats:
        """The part of one principal payment that lowers the part above the cap.

        `before` is the balance before it.
        """
        sent = np.minimum(principal, self.excess)
        share = ratio(whole(principal), whole(self.excess), whole(before))
        sent = np.where((self.rule == PROPORTIONAL) & (before > 0), np.minimum(sent, share), sent)
        self.excess -= sent
        return sent

    def settle_excess(self) -> None:
        """Take the part that lowers the part above the cap out of the day's freed principal.

        Done once for the day's payments together, unless a share of each is rounded.
        """
        if self.has_excess and not self.some_share:
            sent = np.minimum(self.freed, self.excess, out=self.spare[2])
            self.excess -= sent
            self.freed -= sent


def by_month(events: Ints) -> dict[int, Ints]:
    """Rows of events, which come in the order of their months, by month."""
    if not len(events):
        return {}
    cuts = np.flatnonzero(np.diff(events[:, 1])) + 1
    months = events[np.append(0, cuts), 1].tolist()
    return dict(zip(months, np.split(events, cuts.tolist()), strict=True))
