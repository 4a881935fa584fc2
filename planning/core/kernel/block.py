"""One block of plans played month by month, every column one plan.

The steps are those of `planning.core.plan`, in its order of a day: the payment,
then what prepays, then unpaid line interest, then the re-borrow; on the last
day the posting, then the account. Steps that no plan of the block has are
skipped. A column that leaves the family while it runs is marked in `left`.
"""

from __future__ import annotations

import numpy as np

from planning.core.kernel.block_account import Account
from planning.core.kernel.block_line import LineBlock
from planning.core.kernel.block_mortgage import MortgageBlock
from planning.core.kernel.calendar import days_of
from planning.core.kernel.exact import SHORT, Flags, Ints, Rate
from planning.core.kernel.loading import (
    PREPAY,
    REFUND_INVESTED,
    REFUND_PREPAID,
    Loaded,
)
from planning.core.kernel.sums import Sums

# Within these, checked at every year's end, no product of the next year is too large.
_LARGEST_LINE = 1 << 29
_LARGEST_VALUE = 1 << 32
_NOBODY: Ints = np.zeros(0, dtype=np.int64)


class Block:
    """A block of plans of equal length while it runs. Amounts in cents."""

    def __init__(self, loaded: Loaded, keep: tuple[str, ...]) -> None:
        column = loaded.column
        self.size = loaded.size
        self.months = int(column("months")[0])
        self.left: Flags = np.zeros(self.size, dtype=np.bool_)
        self.sums = Sums(self.size, self.months, keep)
        self.mortgage = MortgageBlock(loaded, self.sums, self.left)
        self.line = LineBlock(loaded, self.sums, self.left)
        self.account = Account(loaded, self.sums)
        self.start = _same(column("start"))
        self.refund_at = _same(column("refund_month") - 1)
        self.invests = _mask(column("refund_to") == REFUND_INVESTED)
        self.prepays = _mask(column("refund_to") == REFUND_PREPAID)
        self.prepays_held = bool((column("route") == PREPAY).any())
        self.opening_draw = column("opening_draw")
        self.reserve = column("reserve")
        self.draws = bool(column("share").any() or self.opening_draw.any())
        self.whole_share = bool(column("whole_share").all())
        self.share = Rate(column("share"), SHORT)
        self.line_cap = column("line_cap")
        self.cap65 = column("cap65")
        self.registered = column("registered")
        self.saving: Ints = np.zeros(self.size, dtype=np.int64)
        self.deducted: Ints = np.zeros(self.size, dtype=np.int64)
        self.extras = by_month(loaded.extras)
        self.steps = by_month(loaded.steps)

    def run(self) -> None:
        """Play every month."""
        for month in range(self.months):
            self._month(month)
        self.left |= self.mortgage.rate.doubt | self.account.growth.doubt

    # -- the month ----------------------------------------------------------------

    def _month(self, month: int) -> None:
        sums = self.sums
        at = self.start + month
        number: Ints = at % 12
        last = days_of(at)
        sums.begin(month, self.mortgage.balance, self.line.balance)
        self.mortgage.begin(number)
        self.line.begin(at, self.steps.get(month), first=month == 0)
        extras = self.extras.get(month)
        day = self.mortgage.payment_day(last)
        if month == 0:
            self._open(day)
        if extras is not None:
            self._extra(extras, day, before=True)
        self._payment_day(month, number, day, extras)
        if extras is not None:
            self._extra(extras, day, before=False)
        self._close(month, number, last)

    def _payment_day(self, month: int, number: Ints, day: Ints, extras: Ints | None) -> None:
        self.line.pay_waiting(day - 1, self._room)
        paying, freed = self.mortgage.pay(month)
        offers = self._refund(number, paying)
        if self.prepays_held:
            offers.append(self.account.release(paying))
        if extras is not None:
            same = extras[:, 2] == _at(day, extras[:, 0])
            offers.append(_offered(extras, self.size, same))
        if offers:
            freed = freed + self.mortgage.prepay_each(offers)
        opening = None
        if month == 0:
            first = day == 1 if paying is None else paying & (day == 1)
            opening = np.where(first, self.opening_draw, 0)
        self._use_room(day, freed, opening)

    def _open(self, day: Ints) -> None:
        """The opening draw of the plans that make no payment on their first day."""
        if self.opening_draw.any():
            alone = ~(self.mortgage.pays(0) & (day == 1))
            self._reborrow(np.zeros(self.size, np.int64), np.where(alone, self.opening_draw, 0))

    def _extra(self, extras: Ints, day: Ints, *, before: bool) -> None:
        """Extras on a day of their own, before or after the day of the payment."""
        days, own = extras[:, 2], _at(day, extras[:, 0])
        chosen = days < own if before else days > own
        if not chosen.any():
            return
        on = np.zeros(self.size, dtype=np.int64)
        on[extras[chosen, 0]] = days[chosen]
        # A column without such an extra stays at the day it has reached.
        on = np.maximum(on, self.line.nights.cursor)
        self.line.pay_waiting(on - 1, self._room)
        freed = self.mortgage.prepay(_offered(extras, self.size, chosen))
        self._use_room(on, freed, None)

    # -- room ---------------------------------------------------------------------

    def _limit(self) -> Ints:
        whole = self.cap65
        if self.mortgage.has_excess:
            whole = whole + self.mortgage.excess
        whole = np.minimum(self.registered, whole)
        whole -= self.mortgage.balance
        return np.minimum(self.line_cap, whole, out=whole)

    def _room(self) -> Ints:
        room = self._limit()
        room -= self.line.balance
        return np.maximum(room, 0, out=room)

    def _use_room(self, day: Ints, freed: Ints, opening: Ints | None) -> None:
        self.sums.add("room_freed", freed)
        self.line.carry(day)
        self.line.pay_waiting(day, self._room)
        if self.draws:
            self._reborrow(freed, opening)

    def _reborrow(self, freed: Ints, opening: Ints | None) -> None:
        wanted = freed if self.whole_share else self.share.times(freed)
        room = self._room()
        if opening is not None:
            self.left |= opening > room
            wanted = wanted + opening
        room -= self.reserve
        np.maximum(room, 0, out=room)
        amount: Ints = np.minimum(wanted, room, out=room)
        self.line.draw(amount)
        self.account.contribute(amount)
        self.sums.add("draw", amount)

    # -- the refund ---------------------------------------------------------------

    def _refund(self, number: Ints, paying: Flags | None) -> list[Ints]:
        """Receive the refunds due this month; what of them is offered as a prepayment."""
        due = number == self.refund_at
        if not due.any():
            return []
        amount = self.saving * due
        self.sums.add("refund", amount)
        positive = np.maximum(amount, 0)
        if self.invests is not None:
            self.account.contribute(positive * self.invests, own=True)
        if self.prepays is None:
            return []
        prepaid = positive * self.prepays
        if paying is None:
            return [prepaid]
        taken = prepaid * paying
        self.sums.add("refused", prepaid - taken)
        return [taken]

    # -- the last day -------------------------------------------------------------

    def _close(self, month: int, number: Ints, last: Ints) -> None:
        self.line.pay_waiting(last, self._room)
        self.line.carry(last)
        deductible = self.line.post()
        self.deducted += deductible
        self.account.close()
        self.account.capital_leaves(self.line)
        final = month == self.months - 1
        closing = self._year_ends(number, final=final)
        if closing.size:
            self._close_year(closing)
        self.sums.close(
            mortgage_closing=self.mortgage.balance,
            line_closing=self.line.balance,
            portfolio_closing=self.account.value,
        )
        if final or self.sums.wants("eligible", "unsupported", "ineligible"):
            eligible, unsupported, ineligible = (self.line.class_balance(i) for i in range(3))
            self.sums.close(eligible=eligible, unsupported=unsupported, ineligible=ineligible)
        if self.sums.wants("limit", "room"):
            limit = np.maximum(self._limit(), 0)
            room = np.maximum(limit - self.line.balance, 0)
            self.sums.close(limit=limit, room=room)

    def _year_ends(self, number: Ints, *, final: bool) -> Ints:
        """The columns whose tax year ends with the month."""
        if final or (number.shape[0] == 1 and number[0] == 11):
            return np.arange(self.size, dtype=np.int64)
        return np.flatnonzero(number == 11) if number.shape[0] > 1 else _NOBODY

    def _close_year(self, closing: Ints) -> None:
        self.saving[closing] = self.account.saving(self.deducted, closing)
        self.deducted[closing] = 0
        self.mortgage.look_at_excess()
        self.left[closing] |= self.line.balance[closing] > _LARGEST_LINE * 8 // 5
        self.left[closing] |= self.account.value[closing] > _LARGEST_VALUE
        self.left[closing] |= self.mortgage.balance[closing] > _LARGEST_LINE


def _mask(chosen: Flags) -> Ints | None:
    """Ones and zeros for the columns chosen; None when no column is."""
    return _same(chosen.astype(np.int64)) if chosen.any() else None


def _same(values: Ints) -> Ints:
    """One value for the whole block where all columns agree: it broadcasts."""
    return values[:1] if (values == values[0]).all() else values


def _at(values: Ints, columns: Ints) -> Ints:
    return values[columns] if values.shape[0] > 1 else np.broadcast_to(values, columns.shape)


def _offered(extras: Ints, size: int, chosen: Flags) -> Ints:
    found = np.zeros(size, dtype=np.int64)
    found[extras[chosen, 0]] = extras[chosen, 3]
    return found


def by_month(events: Ints) -> dict[int, Ints]:
    """Rows of events by their month."""
    order = events[np.argsort(events[:, 1], kind="stable")]
    months, since = np.unique(order[:, 1], return_index=True)
    return dict(zip(months.tolist(), np.split(order, since[1:].tolist()), strict=False))
