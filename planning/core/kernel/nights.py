"""The nights of a block of lines: what their balances weigh from event to event.

Days are counted inside the month being played; day 0 is the last day of the
month before, whose night is posted with this month.
"""

from __future__ import annotations

import numpy as np

from planning.core.kernel.calendar import leap
from planning.core.kernel.exact import Ints, divided
from planning.core.kernel.family import RATE_PLACES
from planning.core.line_interest import YEAR_UNITS

_NEVER = 99
_SCALE = 10**RATE_PLACES


class Nights:
    """Balance x rate x nights since the last posting, by column.

    `money` counts each night in its own year's units, `whole` and `rates` (the
    rates alone, without balance) in plain nights: they share interest out.
    """

    def __init__(self, rate: Ints, actual: Ints, *, mixed: bool) -> None:
        self.rate = rate.copy()
        self.actual = actual
        self.uneven = bool(actual.any())
        self.mixed = mixed
        self.denominator = _SCALE * (YEAR_UNITS if self.uneven else 365)
        self.size = rate.shape[0]
        self._clear()
        self.cursor: Ints = np.ones(1, dtype=np.int64)  # the plan starts on day 1
        self._unit: Ints = np.ones(1, dtype=np.int64)
        self._first: Ints = np.zeros(1, dtype=np.int64)
        self._step: tuple[Ints, Ints] | None = None

    def _clear(self) -> None:
        self.money: Ints = np.zeros(self.size, dtype=np.int64)
        self.whole: Ints = np.zeros(self.size, dtype=np.int64)
        self.rates: Ints = np.zeros(self.size, dtype=np.int64)

    def begin(self, month: Ints, steps: Ints | None, *, first: bool) -> None:
        """Begin a month; `steps` are rows (column, month, day, rate) of rates that change."""
        if not first:
            self.cursor = np.zeros(1, dtype=np.int64)
        if self.uneven:
            self._unit = 366 - self.actual * leap(month)
            self._first = 366 - self.actual * leap(month - 1) - self._unit
        if steps is not None:
            days = np.full(self.size, _NEVER, dtype=np.int64)
            rates = self.rate.copy()
            days[steps[:, 0]] = steps[:, 2]
            rates[steps[:, 0]] = steps[:, 3]
            self._step = days, rates

    def carry(self, balance: Ints, to: Ints) -> None:
        """Count the nights from the cursor up to, not including, day `to`."""
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
            weight = weight * self._unit + self._night_before(to)
        self.money += balance * weight
        self.cursor = to

    def _night_before(self, to: Ints) -> Ints:
        """What day 0 weighs more or less than the other nights, in a January after a leap year."""
        counted = (self.cursor == 0) & (to > 0)
        rate = self.rate
        if self._step is not None:
            rate = np.where(self._step[0] <= 0, self._step[1], rate)
        found: Ints = counted * rate * self._first
        return found

    def post(self) -> Ints:
        """The month's interest, rounded; what is shared out stays until `done`."""
        return divided(self.money, self.denominator)

    def done(self) -> None:
        """Forget the month; a rate that changed in it holds from now on."""
        self._clear()
        if self._step is not None:
            self.rate = self._step[1]
            self._step = None
