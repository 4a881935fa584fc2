"""One block of plans played month by month, every column one plan.

The steps are those of `planning.core.plan`, in its order of a day: the payment,
then what prepays, then unpaid line interest, then the re-borrow; on the last
day the posting, then the account. Steps that no plan of the block has are
skipped. A column that leaves the family while it runs is marked in `left`.

What makes it fast: amounts are whole cents in floats (see exact.py), state is
changed in place, and the columns stand in the order of the calendar month in
which they start, so that those whose year ends or begins are one slice.
"""

from __future__ import annotations

import numpy as np

from planning.core.kernel.block_account import Account, some
from planning.core.kernel.block_line import LineBlock
from planning.core.kernel.block_mortgage import MortgageBlock, by_month
from planning.core.kernel.calendar import days_of
from planning.core.kernel.exact import SHORT, Flags, Floats, Ints, Rate, Spare, floats, same
from planning.core.kernel.family import LARGEST_LINE
from planning.core.kernel.loading import (
    CASH,
    DRAW,
    REFUND_INVESTED,
    REFUND_PREPAID,
    Loaded,
)
from planning.core.kernel.sums import Sums

# Within these, checked once in twelve months, no product of the next year is too large.
_LARGEST_MORTGAGE = 1 << 29
_LARGEST_VALUE = 1 << 32


class Block:
    """A block of plans of equal length while it runs, sorted by calendar month of their start.

    Amounts in cents.
    """

    def __init__(self, loaded: Loaded, keep: tuple[str, ...]) -> None:
        column = loaded.column
        self.size = loaded.size
        self.months = int(column("months")[0])
        self.left: Flags = np.zeros(self.size, dtype=np.bool_)
        self.sums = Sums(self.size, self.months, keep)
        self.spare: Spare = tuple(np.empty(self.size) for _ in range(3))
        self.mortgage = MortgageBlock(loaded, self.sums, self.left, self.spare)
        self.line = LineBlock(loaded, self.sums, self.left, self.spare)
        self.account = Account(loaded, self.sums, self.spare)
        self._calendar(column("start"), column("pay_day"))
        self.refund = Refunds(loaded, column("start"))
        self.invests = some(column("refund_to") == REFUND_INVESTED)
        self.prepays = some(column("refund_to") == REFUND_PREPAID)
        self.opening_draw = floats(column("opening_draw"))
        self.reserve = floats(column("reserve"))
        self.draws = bool(column("share").any() or self.opening_draw.any())
        self.share = None if column("whole_share").all() else Rate(column("share"), SHORT)
        self.line_cap = floats(column("line_cap"))
        self.cap65 = floats(column("cap65")) + self.mortgage.stays
        self.registered = floats(column("registered"))
        self.whole = np.minimum(self.registered, self.cap65)
        # What may be drawn up to, the reserve left alone.
        self.draw_cap = self.line_cap - self.reserve
        self.draw_whole = self.whole - self.reserve
        self.line_opening = self.line.balance.copy()
        self.deducted: Floats = np.zeros(self.size)
        self.deductible: Floats = np.zeros(self.size)
        self.extras = by_month(loaded.extras)
        self.steps = by_month(loaded.steps)

    def _calendar(self, start: Ints, pay_day: Ints) -> None:
        """The columns by calendar month of their start: one slice for each."""
        self.start = same(start)
        self.lasts: list[Floats] = []
        phases = start % 12
        assert (np.diff(phases) >= 0).all()
        cuts = np.searchsorted(phases, np.arange(13)).tolist()
        self.slices = [slice(cuts[one], cuts[one + 1]) for one in range(12)]
        self.pay_day = floats(same(pay_day))
        self.clipped = bool((pay_day > 28).any())

    def _last_day(self, month: int) -> Floats:
        """The last day of the month: the same as twelve months ago, but for leap years."""
        if month < 12:
            self.lasts.append(floats(days_of(self.start + month)))
        last = self.lasts[month % 12]
        february = self._reaching(1, month)
        if february.start < february.stop and month >= 12:
            if last.shape[0] > 1:
                last[february] = days_of(self.start[february] + month)
            else:
                last = floats(days_of(self.start + month))
        return last

    def _reaching(self, number: int, month: int) -> slice:
        """The columns whose month `month` is the calendar month `number`, 0 for January."""
        return self.slices[(number - month) % 12]

    def run(self) -> None:
        """Play every month."""
        for month in range(self.months):
            self._month(month)
        self.left |= self.mortgage.rate.doubt | self.account.growth.doubt
        self._settle()

    # -- the month ----------------------------------------------------------------

    def _month(self, month: int) -> None:
        sums, extras = self.sums, self.extras.get(month)
        at = self.start + month
        last = self._last_day(month)
        sums.begin(month)
        sums.add("mortgage_opening", self.mortgage.balance)
        sums.add("line_opening", self.line.balance)
        self.account.begin()
        january = self._reaching(0, month)
        if january.start < january.stop:
            self.mortgage.new_year(january)
        self.line.begin(at, self.steps.get(month), first=month == 0)
        day = np.minimum(self.pay_day, last) if self.clipped else self.pay_day
        if month == 0:
            self._open(day)
        if extras is not None:
            self._extra(extras, day, before=True)
        # With no other event in it, a month's nights are counted at its one draw.
        once = month > 0 and extras is None and self.line.nights.usual
        self._payment_day(month, day, extras, last if once else None)
        if extras is not None:
            self._extra(extras, day, before=False)
        self._close(month, last)

    def _payment_day(
        self, month: int, day: Floats, extras: Ints | None, last: Floats | None
    ) -> None:
        mortgage = self.mortgage
        if self.line.mode == DRAW:
            self.line.pay_waiting(day - 1, self._room)
        paying = mortgage.paying(month)
        mortgage.pay(month, paying)
        offers = self._refund(month, paying)
        if extras is not None:
            same_day = extras[:, 2] == _at(day, extras[:, 0])
            offers.append(_offered(extras, self.size, same_day))
        for one in offers:
            mortgage.offered += one
        if self.account.holds is not None:
            # Between the refund and the extras: only where shares are rounded does it matter.
            offers.insert(len(offers) - (extras is not None), self.account.release(paying))
        if offers:
            mortgage.prepay_each(offers)
        opening = None
        if month == 0:
            first = day == 1 if paying is None else (paying > 0) & (day == 1)
            opening = np.where(first, self.opening_draw, 0)
        self._use_room(day, opening, last)

    def _open(self, day: Floats) -> None:
        """The opening draw of the plans that make no payment on their first day."""
        if self.opening_draw.any():
            paying = self.mortgage.paying(0)
            alone = day != 1
            if paying is not None:
                alone |= paying == 0
            self.mortgage.freed[:] = 0
            self._reborrow(np.where(alone, self.opening_draw, 0))

    def _extra(self, extras: Ints, day: Floats, *, before: bool) -> None:
        """Extras on a day of their own, before or after the day of the payment."""
        days, own = extras[:, 2], _at(day, extras[:, 0])
        chosen = days < own if before else days > own
        if not chosen.any():
            return
        on = np.zeros(self.size)
        on[extras[chosen, 0]] = days[chosen]
        # A column without such an extra stays at the day it has reached.
        on = np.maximum(on, self.line.nights.cursor)
        self.line.pay_waiting(on - 1, self._room)
        self.mortgage.freed[:] = 0
        offered = _offered(extras, self.size, chosen)
        self.mortgage.offered += offered
        self.mortgage.prepay(offered)
        self._use_room(on, None, None)

    # -- room ---------------------------------------------------------------------

    def _limit(self) -> Floats:
        whole = self.whole
        if self.mortgage.has_excess:
            whole = np.minimum(self.registered, self.cap65 + self.mortgage.excess)
        return np.minimum(self.line_cap, whole - self.mortgage.balance)

    def _room(self) -> Floats:
        return np.maximum(self._limit() - self.line.balance, 0)

    def _use_room(self, day: Floats, opening: Floats | None, last: Floats | None) -> None:
        """The day's freed room re-borrowed; with `last`, the month's only draw."""
        self.mortgage.settle_excess()
        self.sums.add("room_freed", self.mortgage.freed)
        if last is None:
            self.line.carry(day)
        self.line.pay_waiting(day, self._room)
        if self.draws:
            self._reborrow(opening)
        if last is not None:
            self.line.nights.carry_month(self.line.balance, day, self.spare[2], last)

    def _reborrow(self, opening: Floats | None) -> None:
        """min(share x room freed + opening draw, room beyond the reserve)."""
        freed, mortgage, amount = self.mortgage.freed, self.mortgage, self.spare[2]
        wanted = freed if self.share is None else self.share.times(freed)
        if opening is not None:
            self.left |= opening > self._room()
            wanted = wanted + opening
        whole = self.draw_whole
        if mortgage.has_excess:
            whole = np.add(self.cap65, mortgage.excess, out=self.spare[1])
            np.minimum(whole, self.registered, out=whole)
            whole -= self.reserve
        np.subtract(whole, mortgage.balance, out=amount)
        np.minimum(amount, self.draw_cap, out=amount)
        amount -= self.line.balance
        np.maximum(amount, 0, out=amount)
        np.minimum(amount, wanted, out=amount)
        self.line.draw(amount)
        self.account.contribute(amount)
        self.sums.add("draw", amount)

    # -- the refund ---------------------------------------------------------------

    def _refund(self, month: int, paying: Floats | None) -> list[Floats]:
        """Receive the refunds due this month; what of them is offered as a prepayment."""
        amount = self.refund.due_in(month, self.spare[1])
        if amount is None:
            return []
        self.sums.add("refund", amount)
        positive = np.maximum(amount, 0, out=amount)
        if self.invests is not None:
            self.account.contribute(positive * self.invests, own=True)
        if self.prepays is None:
            return []
        if self.prepays.shape[0] > 1:
            positive *= self.prepays
        if paying is not None:
            refused = positive * (1 - paying)
            self.mortgage.offered += refused
            self.sums.add("refused", refused)
            positive -= refused
        return [positive]

    # -- the last day -------------------------------------------------------------

    def _close(self, month: int, last: Floats) -> None:
        line = self.line
        line.pay_waiting(last, self._room)
        if line.nights.cursor is not last:
            line.carry(last)
        self.deducted += line.post()
        self.account.close()
        self.account.capital_leaves(line)
        final = month == self.months - 1
        closing = slice(None) if final else self._reaching(11, month)
        if final:
            self.refund.end()
            self._close_year(closing)
        elif closing.start < closing.stop:
            self._close_year(closing)
        if final or month % 12 == 11:
            self._look()
        if self.sums.kept:
            self._keep_closing()

    def _close_year(self, closing: slice) -> None:
        self.refund.close_year(closing, self.account.saving(self.deducted, closing))
        deducted = self.deducted[closing]
        self.deductible[closing] += deducted
        deducted[:] = 0

    def _look(self) -> None:
        """Whether balances stay within the bounds, once in twelve months."""
        self.mortgage.look_at_excess()
        self.left |= self.line.balance > LARGEST_LINE
        self.left |= self.account.value > _LARGEST_VALUE
        self.left |= self.mortgage.balance > _LARGEST_MORTGAGE

    def _keep_closing(self) -> None:
        sums = self.sums
        sums.add("mortgage_closing", self.mortgage.balance)
        sums.add("line_closing", self.line.balance)
        sums.add("portfolio_closing", self.account.value)
        for index, key in enumerate(("eligible", "unsupported", "ineligible")):
            if sums.wants(key):
                sums.add(key, self.line.class_balance(index))
        if sums.wants("limit", "room"):
            limit = np.maximum(self._limit(), 0)
            sums.add("limit", limit)
            sums.add("room", np.maximum(limit - self.line.balance, 0))

    def _settle(self) -> None:
        """Totals and closing figures, from what was counted and from balances."""
        line, mortgage, account, sums = self.line, self.mortgage, self.account, self.sums
        mortgage.new_year(slice(None))  # what this year has used joins what was prepaid
        interest = self.deductible if line.plain else line.interest
        kept_on_line = 0 if line.mode == CASH else interest
        sums.settle(
            sums.totals,
            interest=mortgage.interest,
            line_interest=interest,
            deductible=self.deductible,
            draw=line.balance - self.line_opening - kept_on_line,
            prepayment=mortgage.prepaid,
            refund=self.refund.received,
            refused=mortgage.offered + account.released() - mortgage.prepaid,
        )
        sums.settle(
            sums.closing,
            mortgage_closing=mortgage.balance,
            line_closing=line.balance,
            portfolio_closing=account.value,
            eligible=line.class_balance(0),
            unsupported=line.class_balance(1),
            ineligible=line.class_balance(2),
        )


class Refunds:
    """The tax saving of each column's last closed year, and the month that brings it."""

    def __init__(self, loaded: Loaded, start: Ints) -> None:
        self.saving: Floats = np.zeros(loaded.size)
        self.received: Floats = np.zeros(loaded.size)
        # Months of the plan in which a column's refund falls due, counted modulo twelve.
        phase = (loaded.column("refund_month") - 1 - start) % 12
        self._due = {one: floats(phase == one) for one in np.unique(phase).tolist()}
        # Whether the month of the refund has passed when the plan's last month is over.
        final = (start + loaded.column("months") - 1) % 12
        self._passed: Floats = floats(final >= loaded.column("refund_month") - 1)

    def due_in(self, month: int, out: Floats) -> Floats | None:
        """What is received in a month, into `out`; None when it is no one's."""
        due = self._due.get(month % 12)
        if due is None:
            return None
        return np.multiply(self.saving, due, out=out)

    def close_year(self, closing: slice, saving: Floats) -> None:
        """A year's saving takes the place of the one before, which has been received by now."""
        before = self.saving[closing]
        self.received[closing] += before
        before[:] = saving

    def end(self) -> None:
        """The plan ends: what falls due after its last month is not received."""
        self.saving *= self._passed


def _at(values: Floats, columns: Ints) -> Floats:
    return values[columns] if values.shape[0] > 1 else np.broadcast_to(values, columns.shape)


def _offered(extras: Ints, size: int, chosen: Flags) -> Floats:
    found = np.zeros(size)
    found[extras[chosen, 0]] = extras[chosen, 3]
    return found
