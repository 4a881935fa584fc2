"""The nights of a block of lines: what their balances weigh from event to event.

Days are counted inside the month being played; day 0 is the last day of the
month before, whose night is posted with this month.
"""

from __future__ import annotations

import numpy as np

from planning.core.kernel.calendar import leap
from planning.core.kernel.exact import EXACT, Floats, Ints, divided, floats, halved_up, whole
from planning.core.kernel.family import LARGEST_LINE, LARGEST_LINE_RATE, RATE_PLACES
from planning.core.line_interest import YEAR_UNITS

_NEVER = 99
_DAY_0: Floats = np.zeros(1)
_SCALE = 10**RATE_PLACES
# A month's balances x rates x nights stay exact in a float. A balance may grow by a
# year's interest, less than a quarter, before its bound is looked at again.
assert LARGEST_LINE * 5 // 4 * int(LARGEST_LINE_RATE * _SCALE) * 31 + 365 * _SCALE < EXACT


class Nights:
    """Balance x rate x nights since the last posting, by column.

    `money` counts each night in its own year's units, `whole` and `rates` (the
    rates alone, without balance) in plain nights: they share interest out. While
    a month has one rate on a 365-day basis, `money` leaves the rate to the posting.
    """

    def __init__(self, rate: Ints, actual: Ints, mixed: bool, spare: Floats) -> None:  # noqa: FBT001
        size = rate.shape[0]
        self.rate = floats(rate)
        self.actual = actual
        self.uneven = bool(actual.any())
        self.mixed = mixed
        self.denominator = 365 * _SCALE
        self.whole: Floats = np.zeros(size if mixed else 0)
        self.rates: Floats = np.zeros(size if mixed else 0)
        self.units: Ints = np.zeros(size if self.uneven else 0, dtype=np.int64)
        self.cursor: Floats = np.ones(1)  # the plan starts on day 1
        self._money: Floats = np.zeros(size)
        self._weight = spare
        self._begun = False
        self._unit: Ints = np.ones(1, dtype=np.int64)
        self._first: Ints = np.zeros(1, dtype=np.int64)
        self._step: tuple[Floats, Floats] | None = None

    def begin(self, month: Ints, steps: Ints | None, *, first: bool) -> None:
        """Begin a month; `steps` are rows (column, month, day, rate) of rates that change."""
        if not first:
            self.cursor = _DAY_0
        self._begun = False
        if self.uneven:
            self._unit = 366 - self.actual * leap(month)
            self._first = 366 - self.actual * leap(month - 1) - self._unit
        if steps is not None:
            days = np.full(self.rate.shape[0], float(_NEVER))
            rates = self.rate.copy()
            days[steps[:, 0]] = steps[:, 2]
            rates[steps[:, 0]] = steps[:, 3]
            self._step = days, rates

    def carry(self, balance: Floats, to: Floats) -> None:
        """Count the nights from the cursor up to, not including, day `to`."""
        money, weight = self._money, self._weight
        if not self._begun:
            money[:] = 0
            self._begun = True
        if self.usual:
            np.subtract(to, self.cursor, out=weight)
            weight *= balance
            money += weight
        else:
            self._carry_weighed(balance, to)
        self.cursor = to

    @property
    def usual(self) -> bool:
        """Whether the month has one rate and nothing but the whole balance to weigh."""
        return self._step is None and not self.mixed and not self.uneven

    def carry_month(self, balance: Floats, day: Floats, drawn: Floats, last: Floats) -> None:
        """A whole usual month at once: `drawn` joined the balance, now `balance`, on `day`."""
        assert self.cursor is _DAY_0
        np.multiply(balance, last, out=self._money)
        # The drawn part was not owed on the nights before the day.
        self._money -= np.multiply(drawn, day, out=self._weight)
        self._begun = True
        self.cursor = last

    def _carry_weighed(self, balance: Floats, to: Floats) -> None:
        turned = self._step
        if turned is None:
            weight = self.rate * (to - self.cursor)
        else:
            turn = np.minimum(np.maximum(turned[0], self.cursor), to)
            weight = self.rate * (turn - self.cursor) + turned[1] * (to - turn)
        if self.mixed:
            self.whole += balance * weight
            self.rates += weight
        if self.uneven:
            self.units += whole(balance) * (whole(weight) * self._unit + self._night_before(to))
        else:
            self._money += balance * weight

    def _night_before(self, to: Floats) -> Ints:
        """What day 0 weighs more or less than the other nights, in a January after a leap year."""
        counted = (self.cursor == 0) & (to > 0)
        rate = self.rate
        if self._step is not None:
            rate = np.where(self._step[0] <= 0, self._step[1], rate)
        found: Ints = counted * whole(rate) * self._first
        return found

    def post(self) -> Floats:
        """The month's interest, rounded; what is shared out stays until `done`."""
        if self.uneven:
            return floats(divided(self.units, _SCALE * YEAR_UNITS))
        if self.usual:
            self._money *= self.rate
        return halved_up(self._money, self.denominator // 2, self.denominator)

    def done(self) -> None:
        """Forget the month; a rate that changed in it holds from now on."""
        if self.mixed:
            self.whole[:] = 0
            self.rates[:] = 0
        if self.uneven:
            self.units[:] = 0
        if self._step is not None:
            self.rate = self._step[1]
            self._step = None
