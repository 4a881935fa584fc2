"""One credit line of a plan: principal and unpaid interest by use class.

The state follows the tracing rules: three classes, eligible principal kept by
target, posted interest paid oldest posting first, and within a posting in
proportion to what is unpaid by class. Within a class simple interest is paid
before compound interest.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from planning.core.line_interest import YEAR_UNITS, night_units
from planning.core.money import prorate, round_ratio
from planning.core.plan_types import OpeningClasses
from planning.core.types import InterestMethod, Line, RateSteps

ELIGIBLE, UNSUPPORTED, INELIGIBLE = 0, 1, 2
_RATE_SCALE = 10**12


def share_out(amount: int, weights: list[int]) -> tuple[int, ...]:
    """`prorate` with a short way for the usual case of a single class."""
    present = [index for index, weight in enumerate(weights) if weight]
    if len(present) == 1:
        parts = [0] * len(weights)
        parts[present[0]] = amount
        return tuple(parts)
    return prorate(amount, weights)


@dataclass(slots=True)
class Posting:
    """One posting of interest and what of it is unpaid by class, simple and compound."""

    day: date
    simple: list[int]
    compound: list[int]

    def unpaid(self) -> int:
        """All that is unpaid of it, in cents."""
        return sum(self.simple) + sum(self.compound)


class LineRun:
    """A line while the plan runs. Amounts in cents; classes in their fixed order."""

    def __init__(
        self,
        line: Line,
        opening: OpeningClasses,
        prime: RateSteps,
        starts: date,
        method: InterestMethod,
    ) -> None:
        self.ref = line.ref
        self.basis = line.day_basis
        self.method = method
        self.principal = [
            opening.eligible_cents,
            opening.unsupported_cents,
            opening.ineligible_cents,
        ]
        self.unpaid = [0, 0, 0]
        self.balance = opening.total_cents
        self.targets: dict[str, int] = dict(opening.targets)
        self.postings: list[Posting] = []
        self.eligible_posted = 0
        self.eligible_deducted = 0
        self.posted_on = starts
        self._cursor = starts
        self._steps = [(day, _scaled(rate + line.spread)) for day, rate in prime]
        self._step = 0
        self._money = 0
        self._class_nights = [0, 0, 0]
        self._unpaid_nights = [0, 0, 0]

    # -- nights -----------------------------------------------------------------

    def carry_to(self, day: date) -> None:
        """Count the nights up to, not including, `day` at the balances now.

        Call it before anything of that day changes a balance: the night of a
        day carries what the line owes after every fact of that day.
        """
        while self._cursor < day:
            end, rate = self._stretch(day)
            if self.balance:
                nights = (end - self._cursor).days
                self._money += self.balance * rate * night_units(self._cursor, end, self.basis)
                for index in range(3):
                    unpaid = self.unpaid[index]
                    self._class_nights[index] += (self.principal[index] + unpaid) * rate * nights
                    self._unpaid_nights[index] += unpaid * rate * nights
            self._cursor = end

    def _stretch(self, day: date) -> tuple[date, int]:
        """The end of the stretch at one rate that starts at the cursor, and that rate."""
        steps = self._steps
        while self._step + 1 < len(steps) and steps[self._step + 1][0] <= self._cursor:
            self._step += 1
        if not steps:
            return day, 0
        if self._step + 1 < len(steps):
            return min(day, steps[self._step + 1][0]), steps[self._step][1]
        return day, steps[self._step][1]

    # -- facts --------------------------------------------------------------------

    def draw(self, day: date, amount: int, target: str) -> None:
        """Borrow for an eligible use: the eligible principal of `target` grows."""
        self.carry_to(day)
        self.principal[ELIGIBLE] += amount
        self.targets[target] = self.targets.get(target, 0) + amount
        self.balance += amount

    def post(self, day: date) -> tuple[int, int]:
        """Post the interest of the nights before `day`: (posted, deductible when posted).

        Only the method `payable` deducts on posting, and then the simple part
        of the eligible class alone.
        """
        self.carry_to(day)
        self.posted_on = day
        posted = round_ratio(self._money, _RATE_SCALE * YEAR_UNITS)
        weights, inside = self._class_nights, self._unpaid_nights
        self._money, self._class_nights, self._unpaid_nights = 0, [0, 0, 0], [0, 0, 0]
        if not posted:
            return 0, 0
        by_class = share_out(posted, weights)
        compound = [
            round_ratio(by_class[index] * inside[index], weights[index]) if inside[index] else 0
            for index in range(3)
        ]
        simple = [by_class[index] - compound[index] for index in range(3)]
        for index in range(3):
            self.unpaid[index] += by_class[index]
        self.balance += posted
        self.postings.append(Posting(day, simple, compound))
        self.eligible_posted += by_class[ELIGIBLE]
        deductible = simple[ELIGIBLE] if self.method == "payable" else 0
        self._deduct(deductible)
        return posted, deductible

    def pay_from_cash(self, day: date, amount: int) -> int:
        """Pay unpaid interest out of the household's cash; the part deductible on payment."""
        self.carry_to(day)
        _, deductible = self._settle(amount)
        self.balance -= amount
        return deductible

    def pay_by_draw(self, day: date, amount: int) -> int:
        """Pay unpaid interest by a draw on the same line; the part deductible on payment.

        The balance stays: what leaves the unpaid interest of a class joins its
        principal, and the eligible part is borrowed for the target `interest`.
        """
        self.carry_to(day)
        by_class, deductible = self._settle(amount)
        for index in range(3):
            self.principal[index] += by_class[index]
        if by_class[ELIGIBLE]:
            self.targets["interest"] = self.targets.get("interest", 0) + by_class[ELIGIBLE]
        return deductible

    def reclass(self, day: date, amount: int, target: str) -> None:
        """Move eligible principal of a target to the ineligible class; the balance stays."""
        self.carry_to(day)
        assert 0 <= amount <= self.targets.get(target, 0)
        self.targets[target] -= amount
        self.principal[ELIGIBLE] -= amount
        self.principal[INELIGIBLE] += amount

    def _settle(self, amount: int) -> tuple[list[int], int]:
        """Take `amount` off the unpaid interest, oldest posting first."""
        assert amount <= sum(self.unpaid)
        taken = [0, 0, 0]
        compound_eligible = 0
        while amount:
            posting = self.postings[0]
            owed = [posting.simple[index] + posting.compound[index] for index in range(3)]
            part = min(amount, sum(owed))
            for index, paid in enumerate(share_out(part, owed)):
                first = min(paid, posting.simple[index])
                posting.simple[index] -= first
                posting.compound[index] -= paid - first
                assert posting.compound[index] >= 0
                taken[index] += paid
                self.unpaid[index] -= paid
                if index == ELIGIBLE:
                    compound_eligible += paid - first
            amount -= part
            if not posting.unpaid():
                self.postings.pop(0)
        deductible = taken[ELIGIBLE] if self.method == "paid" else compound_eligible
        self._deduct(deductible)
        return taken, deductible

    def _deduct(self, amount: int) -> None:
        """Add to the running deduction, which never passes the eligible interest posted."""
        self.eligible_deducted += amount
        assert self.eligible_deducted <= self.eligible_posted

    # -- what stands ----------------------------------------------------------------

    def unpaid_interest(self) -> int:
        """Posted interest not paid yet, all classes."""
        return sum(self.unpaid)

    def class_balance(self, index: int) -> int:
        """Principal and unpaid interest of one class."""
        return self.principal[index] + self.unpaid[index]

    def check(self) -> None:
        """The classes add up to the balance and the targets to the eligible principal."""
        assert sum(self.principal) + sum(self.unpaid) == self.balance
        assert sum(self.targets.values()) == self.principal[ELIGIBLE]
        assert min(*self.principal, *self.unpaid, self.balance) >= 0


def _scaled(rate: Decimal) -> int:
    scaled = Fraction(rate) * _RATE_SCALE
    assert scaled.denominator == 1, "a rate has at most twelve decimals"
    return int(scaled)
