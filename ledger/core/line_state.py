"""One line as it stands: principal by class and target, unpaid interest, own credit.

Payment order: interest before principal, the oldest posting first, simple
before compound; within a posting and over principal every class in proportion.
On one fungible debt nothing marks which dollar was repaid, so no repayment can
be aimed at one use (CRA folio S3-F6-C1, 1.43; CRA letter 2007-0221071E5).
"""

from __future__ import annotations

from bisect import bisect_right
from copy import copy
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from fractions import Fraction
from itertools import pairwise

from ledger.core.trace_types import NONE, Classes, InterestPayment, PostingTrace, add, less
from planning.core.line_interest import YEAR_UNITS, night_units
from planning.core.money import prorate, round_half_up, round_ratio
from planning.core.types import DayBasis, Household, Line

_SCALE = 10**12


def shared(amount: int, weights: tuple[int, int, int] | list[int]) -> Classes:
    """An amount over the three classes in proportion to their weights."""
    first, second, third = prorate(amount, weights)
    return (first, second, third)


@dataclass(frozen=True, slots=True)
class NightRates:
    """The line's yearly rate by night, scaled to whole numbers; None where unknown.

    `dates[k]` is the first night of `rates[k]`. `restarts` are the days on
    which statements begin again after a stretch without one.
    """

    dates: tuple[date, ...]
    rates: tuple[int | None, ...]
    restarts: tuple[date, ...]

    @classmethod
    def of(cls, household: Household, line: Line) -> NightRates:
        """Stated rates inside their statement, else prime plus the spread."""
        statements = household.statements_of(line.ref)
        days = {one.starts for one in statements}
        days |= {one.ends + timedelta(days=1) for one in statements}
        days |= {day for one in statements for day, _ in one.rates}
        days |= {day for day, _ in household.prime}
        dates = tuple(sorted(days))
        rates: list[int | None] = []
        for day in dates:
            covering = next((one for one in statements if one.starts <= day <= one.ends), None)
            stated = [rate for when, rate in covering.rates if when <= day] if covering else []
            prime = [rate for when, rate in household.prime if when <= day]
            if stated:
                rates.append(int(stated[-1] * _SCALE))
            else:
                rates.append(int((prime[-1] + line.spread) * _SCALE) if prime else None)
        restarts = tuple(
            two.starts
            for one, two in pairwise(statements)
            if two.starts > one.ends + timedelta(days=1)
        )
        return cls(dates, tuple(rates), restarts)

    def stretches(self, start: date, end: date) -> list[tuple[date, date, int | None]]:
        """(first night, day after the last, rate) from `start` up to, not including, `end`."""
        found: list[tuple[date, date, int | None]] = []
        at = start
        while at < end:
            index = bisect_right(self.dates, at) - 1
            rate = self.rates[index] if index >= 0 else None
            until = self.dates[index + 1] if index + 1 < len(self.dates) else end
            until = min(until, end)
            found.append((at, until, rate))
            at = until
        return found


@dataclass(slots=True)
class Nights:
    """What the nights since the last posting weigh, by class."""

    weights: list[int] = field(default_factory=lambda: [0, 0, 0])
    compound: list[int] = field(default_factory=lambda: [0, 0, 0])
    plain: list[int] = field(default_factory=lambda: [0, 0, 0])
    plain_compound: list[int] = field(default_factory=lambda: [0, 0, 0])
    amount: int = 0
    count: int = 0
    rate_missing: bool = False
    after_gap: bool = False

    def copy(self) -> Nights:
        """An independent copy."""
        return Nights(
            list(self.weights),
            list(self.compound),
            list(self.plain),
            list(self.plain_compound),
            self.amount,
            self.count,
            self.rate_missing,
            self.after_gap,
        )


@dataclass(slots=True)
class Posting:
    """Interest posted and what is unpaid of it, simple and compound apart."""

    id: str
    on: date
    nights: int
    posted: int
    computed: int | None
    classes: Classes
    compound: Classes
    simple_owed: Classes
    compound_owed: Classes

    @property
    def owed(self) -> Classes:
        """What is unpaid of it, by class."""
        return add(self.simple_owed, self.compound_owed)

    def shown(self, line: str) -> PostingTrace:
        """The posting as the trace reports it."""
        return PostingTrace(
            self.id,
            self.on,
            line,
            self.nights,
            self.posted,
            self.computed,
            self.classes,
            self.compound,
            self.owed,
        )


class LineState:
    """One line; every change goes through a method, and the parts always add up."""

    def __init__(self, ref: str, basis: DayBasis, rates: NightRates, targets: list[str]) -> None:
        self.ref = ref
        self.basis: DayBasis = basis
        self.rates = rates
        self.principal: Classes = NONE
        self.targets = dict.fromkeys(targets, 0)
        self.postings: list[Posting] = []
        self.first_open = 0
        self.credit = 0
        self.nights = Nights()
        self.at: date | None = None

    def copy(self) -> LineState:
        """An independent copy; postings paid in full never change again and are shared."""
        other = copy(self)
        other.targets = dict(self.targets)
        other.postings = [
            *self.postings[: self.first_open],
            *(replace(one) for one in self.postings[self.first_open :]),
        ]
        other.nights = self.nights.copy()
        return other

    # -- what stands ---------------------------------------------------------

    def unpaid(self) -> Classes:
        """Unpaid interest by class."""
        total = NONE
        for one in self.postings[self.first_open :]:
            total = add(total, one.owed)
        return total

    def held(self) -> Classes:
        """Principal and unpaid interest by class."""
        return add(self.principal, self.unpaid())

    def balance(self) -> int:
        """What the statement shows: below zero when the household is in credit."""
        return sum(self.held()) - self.credit

    def check(self) -> None:
        """The parts add up and none is negative: asserted after every change."""
        assert min(self.principal) >= 0
        assert self.credit >= 0
        assert sum(self.targets.values()) == self.principal[0]
        assert min(self.targets.values(), default=0) >= 0

    # -- nights -----------------------------------------------------------------

    def roll(self, day: date) -> None:
        """Count the nights up to the evening before `day` at the classes as they stand."""
        if self.at is None or day <= self.at:
            return
        for restart in self.rates.restarts:
            if self.at < restart <= day:
                # Nights between two statements were never shown: counting starts anew.
                self.nights = Nights(after_gap=True)
                self.at = restart
        held, unpaid, nights = self.held(), self.unpaid(), self.nights
        for start, end, rate in self.rates.stretches(self.at, day):
            count = (end - start).days
            nights.count += count
            for index in range(3):
                nights.plain[index] += held[index] * count
                nights.plain_compound[index] += unpaid[index] * count
            if rate is None:
                nights.rate_missing = True
                continue
            for index in range(3):
                nights.weights[index] += max(0, held[index] * rate * count)
                nights.compound[index] += max(0, unpaid[index] * rate * count)
            nights.amount += sum(held) * rate * night_units(start, end, self.basis)
        self.at = day

    # -- changes ------------------------------------------------------------------

    def take_credit(self, cents: int) -> int:
        """Use the household's own credit first; returns what is left to class."""
        used = min(self.credit, cents)
        self.credit -= used
        return cents - used

    def put(self, classes: Classes, targets: dict[str, int]) -> None:
        """Add principal by class; `targets` shares out the eligible part."""
        assert sum(targets.values()) == classes[0]
        self.principal = add(self.principal, classes)
        for target, cents in targets.items():
            self.targets[target] += cents
        self.check()

    def post(self, entry_id: str, on: date, cents: int, *, by_advance: bool) -> Posting:
        """Post interest for the nights counted, shared by what each class owed each night."""
        nights = self.nights
        checked = not (nights.rate_missing or nights.after_gap)
        computed = round_ratio(nights.amount, YEAR_UNITS * _SCALE) if checked else None
        weights = nights.plain if nights.rate_missing else nights.weights
        inner = nights.plain_compound if nights.rate_missing else nights.compound
        rest = self.take_credit(cents)
        classes = shared(rest, weights)
        first, second, third = (
            round_ratio(part * of_interest, weight) if weight else 0
            for part, of_interest, weight in zip(classes, inner, weights, strict=True)
        )
        compound = (first, second, third)
        posting = Posting(
            entry_id,
            on,
            nights.count,
            cents,
            computed,
            classes,
            compound,
            less(classes, compound),
            compound,
        )
        self.nights = Nights()
        if by_advance:
            posting.simple_owed = posting.compound_owed = NONE
            self.put(classes, {"interest": classes[0]})
        self.postings.append(posting)
        self.check()
        return posting

    def repay(self, entry_id: str, on: date, cents: int) -> tuple[list[InterestPayment], Classes]:
        """A repayment: interest first, then principal, then the household's own credit.

        Returns the interest payments and the principal taken off by class.
        """
        left = cents
        payments: list[InterestPayment] = []
        for posting in self.postings[self.first_open :]:
            owed = posting.owed
            part = min(left, sum(owed))
            if not part:
                continue
            left -= part
            classes = shared(part, owed)
            simple = _least(classes, posting.simple_owed)
            compound = less(classes, simple)
            posting.simple_owed = less(posting.simple_owed, simple)
            posting.compound_owed = less(posting.compound_owed, compound)
            payments.append(
                InterestPayment(entry_id, on, self.ref, posting.id, posting.on, classes, compound)
            )
        while self.first_open < len(self.postings) and not sum(self.postings[self.first_open].owed):
            self.first_open += 1
        principal = min(left, sum(self.principal))
        taken = shared(principal, self.principal) if principal else NONE
        self.take(taken)
        self.credit += left - principal
        self.check()
        return payments, taken

    def take(self, taken: Classes) -> None:
        """Take principal off by class; eligible principal over its targets in proportion."""
        self.principal = less(self.principal, taken)
        if taken[0]:
            parts = prorate(taken[0], list(self.targets.values()))
            for target, part in zip(self.targets, parts, strict=True):
                self.targets[target] -= part

    def move(self, target: str, cents: int, to: str | None) -> None:
        """Take linked principal from a target to another one, or (None) to ineligible."""
        assert 0 <= cents <= self.targets[target]
        self.targets[target] -= cents
        if to is not None:
            self.targets[to] += cents
        else:
            self.principal = (
                self.principal[0] - cents,
                self.principal[1],
                self.principal[2] + cents,
            )
        self.check()

    def interest_classes(self, cents: int) -> Classes:
        """How a repayment of `cents` would fall on unpaid interest; less when less is unpaid."""
        total = NONE
        left = cents
        for posting in self.postings[self.first_open :]:
            part = min(left, sum(posting.owed))
            left -= part
            if part:
                total = add(total, shared(part, posting.owed))
        return total


def _least(one: Classes, two: Classes) -> Classes:
    return (min(one[0], two[0]), min(one[1], two[1]), min(one[2], two[2]))


def share_of(part: int, whole: int) -> Fraction:
    """part / whole, zero when there is no whole."""
    return Fraction(part, whole) if whole else Fraction(0)


def rounded_share(cents: int, share: Fraction) -> int:
    """round(cents x share), half up."""
    return round_half_up(cents * share)
