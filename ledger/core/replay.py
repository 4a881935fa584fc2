"""Replay the months with each kind of fact taken from the plan or from life.

A small simulation of one line and the mortgages behind it, from the plan's
start. `switches` says, cause by cause, whose facts to use; with none it follows
the plan, with all it follows the statements. The values in between exist only
to attribute the gap (ledger/core/attribution.py); they are never reported.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from planning.core.money import prorate, round_half_up
from planning.core.types import RateSteps

CAUSES = (
    "line-rate",
    "mortgage-rate",
    "payments",
    "reborrowing",
    "use-of-draws",
    "leaks",
    "posting",
)
LINE_RATE, MORTGAGE_RATE, PAYMENTS, REBORROWING, USE, LEAKS, POSTING = range(7)
_SCALE = 10**12
Classes = tuple[int, int, int]
ZERO: Classes = (0, 0, 0)


@dataclass(frozen=True, slots=True)
class MortgageMove:
    """One payment or prepayment: cents paid, its interest, the balance before it."""

    on: date
    mortgage: int
    paid_cents: int
    interest_cents: int
    prepayment_cents: int
    before_cents: int
    periodic_rate: Fraction


@dataclass(frozen=True, slots=True)
class LineMove:
    """A draw (positive classes) or principal repaid (negative total) on the line."""

    on: date
    classes: Classes


@dataclass(frozen=True, slots=True)
class PostingMove:
    """Interest posted: its date, cents, and how far it is from the computed amount."""

    on: date
    month: str
    excess_cents: int


@dataclass(frozen=True, slots=True)
class InterestPaid:
    """How much of a month's posting is paid once this date is over (1 = all of it)."""

    on: date
    month: str
    share: Fraction


@dataclass(frozen=True, slots=True)
class World:
    """One side's facts, the plan's or life's."""

    mortgage_opening: tuple[int, ...]
    mortgage_moves: tuple[MortgageMove, ...]
    line_opening: Classes
    line_moves: tuple[LineMove, ...]
    rates: RateSteps
    leaks: tuple[tuple[date, int], ...]
    postings: tuple[PostingMove, ...]
    interest_paid: tuple[InterestPaid, ...]


@dataclass(frozen=True, slots=True)
class Rules:
    """What both sides share: the re-borrowing rule, room and treatments.

    `rate_on_date` gives the periodic rate of a mortgage on a date for the plan
    (first) and for life (second). `to_excess` sends principal to the
    amortising part, `limit_of` gives the line's limit from mortgage and excess.
    """

    starts: date
    months: tuple[str, ...]
    share: Fraction
    reserve_cents: int
    opening_draw_cents: int
    excess_cents: int
    to_excess: Callable[[int, int, int], int]
    limit_of: Callable[[int, int], int]
    rate_on_date: tuple[Callable[[int, date], Fraction], Callable[[int, date], Fraction]]
    pays_by_advance: bool
    interest_from_line: bool
    actual_year_basis: bool


@dataclass(frozen=True, slots=True)
class MonthValues:
    """What a month came to: deductible interest paid, balances at its end, in cents."""

    deductible: int
    mortgage: int
    line: int


def _month(day: date) -> str:
    return f"{day.year:04d}-{day.month:02d}"


def _last_day(month: str) -> date:
    year, number = int(month[:4]), int(month[5:])
    following = date(year + number // 12, number % 12 + 1, 1)
    return following - timedelta(days=1)


class _Line:
    """The line's classes, its unpaid interest by month posted, and nights since posting."""

    def __init__(self, opening: Classes, rates: RateSteps, since: date, *, actual: bool) -> None:
        self.principal = list(opening)
        self.unpaid: dict[str, list[int]] = {}
        self.posted: dict[str, int] = {}
        self.rates = [(day, int(rate * _SCALE)) for day, rate in rates]
        self.at = since
        self.weights = [0, 0, 0]
        self.weights_leap = [0, 0, 0]
        self.actual = actual

    def total(self) -> int:
        return sum(self.principal) + sum(sum(one) for one in self.unpaid.values())

    def _balances(self) -> list[int]:
        found = list(self.principal)
        for one in self.unpaid.values():
            for index in range(3):
                found[index] += one[index]
        return found

    def _rate(self, day: date) -> tuple[int, date | None]:
        rate, until = 0, None
        for when, value in self.rates:
            if when <= day:
                rate = value
            else:
                until = when
                break
        return rate, until

    def roll(self, to: date) -> None:
        """Count the nights up to the evening before `to`."""
        while self.at < to:
            rate, until = self._rate(self.at)
            stop = to if until is None else min(to, until)
            year_end = date(self.at.year + 1, 1, 1)
            stop = min(stop, year_end) if self.actual else stop
            nights = (stop - self.at).days
            leap = (
                self.actual
                and self.at.year % 4 == 0
                and (self.at.year % 100 != 0 or self.at.year % 400 == 0)
            )
            sums = self.weights_leap if leap else self.weights
            for index, balance in enumerate(self._balances()):
                sums[index] += max(0, balance) * rate * nights
            self.at = stop

    def post(self, month: str, excess_cents: int) -> None:
        whole = Fraction(sum(self.weights), 365 * _SCALE) + Fraction(
            sum(self.weights_leap), 366 * _SCALE
        )
        amount = max(0, round_half_up(whole) + excess_cents)
        weights = [a + b for a, b in zip(self.weights, self.weights_leap, strict=True)]
        parts = prorate(amount, weights)
        held = self.unpaid.setdefault(month, [0, 0, 0])
        self.posted[month] = self.posted.get(month, 0) + amount
        for index in range(3):
            held[index] += parts[index]
        self.weights = [0, 0, 0]
        self.weights_leap = [0, 0, 0]

    def pay(self, month: str, cents: int, *, by_advance: bool) -> int:
        """Pay part of a month's posting; returns the eligible interest paid."""
        held = self.unpaid.get(month)
        if held is None:
            return 0
        cents = min(cents, sum(held))
        parts = prorate(cents, held) if cents else ZERO
        for index in range(3):
            held[index] -= parts[index]
            if by_advance:
                self.principal[index] += parts[index]
        return parts[0]

    def change(self, classes: Sequence[int]) -> None:
        total = sum(classes)
        if total >= 0 and all(one >= 0 for one in classes):
            for index in range(3):
                self.principal[index] += classes[index]
            return
        repaid = min(-total, sum(self.principal))
        if repaid > 0:
            for index, part in enumerate(prorate(repaid, self.principal)):
                self.principal[index] -= part

    def leak(self, cents: int) -> None:
        moved = min(cents, max(0, self.principal[0]))
        self.principal[0] -= moved
        self.principal[2] += moved


def replay(plan: World, life: World, rules: Rules, switches: int) -> tuple[MonthValues, ...]:
    """Month values with the causes of the bit mask `switches` taken from life.

    Bits are numbered as `CAUSES`. Same length as `rules.months`.
    """
    run = _Run(plan, life, rules, switches)
    agenda = _agenda(plan, life, rules, switches)
    return tuple(run.month(month, agenda[month]) for month in rules.months)


class _Run:
    """One replay: the balances as they stand and the steps of a day, in order."""

    def __init__(self, plan: World, life: World, rules: Rules, switches: int) -> None:
        self.rules = rules
        self.switches = switches
        payers = life if self.actual(PAYMENTS) else plan
        rates = life.rates if self.actual(LINE_RATE) else plan.rates
        opening = _opening(plan, life, self.actual(REBORROWING), self.actual(USE))
        self.mortgages = list(payers.mortgage_opening)
        self.excess = rules.excess_cents
        self.line = _Line(opening, rates, rules.starts, actual=rules.actual_year_basis)
        self.mixes = _mixes(life) if self.actual(USE) else {}

    def actual(self, cause: int) -> bool:
        return bool(self.switches >> cause & 1)

    def month(self, month: str, days: dict[date, _Day]) -> MonthValues:
        deductible = 0
        for day in sorted(days):
            work = days[day]
            self.line.roll(day)
            freed = sum(self.pay_mortgage(fact) for fact in work.mortgage)
            for cents in work.leaks:
                self.line.leak(cents)
            for classes in work.changes:
                self.line.change(classes)
            if not self.actual(REBORROWING):
                deductible += self.plan_draws(day, month, freed)
            for excess_cents in work.postings:
                self.line.post(month, excess_cents)
                if self.rules.pays_by_advance:
                    owed = sum(self.line.unpaid[month])
                    deductible += self.line.pay(month, owed, by_advance=True)
            for of_month, share in work.interest_paid:
                posted = self.line.posted.get(of_month, 0)
                already = posted - sum(self.line.unpaid.get(of_month, ZERO))
                cents = max(0, round_half_up(share * posted) - already)
                deductible += self.line.pay(of_month, cents, by_advance=False)
        self.line.roll(_last_day(month))
        return MonthValues(deductible, sum(self.mortgages), self.line.total())

    def pay_mortgage(self, fact: MortgageMove) -> int:
        """Book one payment and prepayment; returns the principal freed, in cents."""
        freed = 0
        for part in _principal_parts(
            fact, self.mortgages[fact.mortgage], self.rules, self.switches
        ):
            to_excess = self.rules.to_excess(max(0, part), self.excess, sum(self.mortgages))
            self.excess -= to_excess
            self.mortgages[fact.mortgage] -= part
            freed += max(0, part) - to_excess
        return freed

    def plan_draws(self, day: date, month: str, freed: int) -> int:
        """The plan's draws of a day; returns eligible interest they paid, in cents."""
        rules, line = self.rules, self.line
        deductible = 0
        room = rules.limit_of(sum(self.mortgages), self.excess) - line.total()
        if rules.interest_from_line and not self.actual(PAYMENTS):
            for held in list(line.unpaid):
                owed = min(sum(line.unpaid[held]), max(0, room))
                deductible += line.pay(held, owed, by_advance=True)
        wanted = round_half_up(rules.share * freed)
        if day == rules.starts:
            wanted += rules.opening_draw_cents
        drawn = max(0, min(wanted, max(0, room - rules.reserve_cents)))
        if drawn:
            line.change(prorate(drawn, self.mixes.get(month, (1, 0, 0))))
        return deductible


def _opening(plan: World, life: World, reborrowing: bool, use: bool) -> Classes:  # noqa: FBT001
    if not reborrowing:
        return plan.line_opening
    if use:
        return life.line_opening
    # The balance is life's, the classes the plan's mix of it.
    weights = plan.line_opening if any(plan.line_opening) else (1, 0, 0)
    first, second, third = prorate(max(0, sum(life.line_opening)), weights)
    return (first, second, third)


def _mixes(life: World) -> dict[str, Classes]:
    sums: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
    for fact in life.line_moves:
        if sum(fact.classes) > 0:
            for index in range(3):
                sums[_month(fact.on)][index] += max(0, fact.classes[index])
    return {month: (one[0], one[1], one[2]) for month, one in sums.items() if any(one)}


class _Day:
    """What happens on one date of a replay."""

    def __init__(self) -> None:
        self.mortgage: list[MortgageMove] = []
        self.changes: list[tuple[int, ...]] = []
        self.leaks: list[int] = []
        self.postings: list[int] = []
        self.interest_paid: list[tuple[str, Fraction]] = []


_Agenda = dict[str, dict[date, _Day]]


def _agenda(plan: World, life: World, rules: Rules, switches: int) -> _Agenda:
    """Every date on which something happens, by month, for one subset of causes."""
    agenda: _Agenda = {month: defaultdict(_Day) for month in rules.months}
    _on(agenda, rules, rules.starts)
    for fact in (life if switches >> PAYMENTS & 1 else plan).mortgage_moves:
        _on(agenda, rules, fact.on).mortgage.append(fact)
    _add_changes(agenda, life, rules, switches)
    posted = _add_postings(agenda, life, rules, switches)
    if switches >> PAYMENTS & 1:
        for paid in life.interest_paid:
            when = max(paid.on, posted.get(paid.month, paid.on))
            _on(agenda, rules, when).interest_paid.append((paid.month, paid.share))
    elif not rules.interest_from_line:
        for month, day in posted.items():
            _on(agenda, rules, day).interest_paid.append((month, Fraction(1)))
    return agenda


def _on(agenda: _Agenda, rules: Rules, day: date) -> _Day:
    """The day's page, or a page nobody reads for a date outside the months."""
    month = agenda.get(_month(day))
    return _Day() if month is None or day < rules.starts else month[day]


def _add_changes(agenda: _Agenda, life: World, rules: Rules, switches: int) -> None:
    if switches >> REBORROWING & 1:
        for change in life.line_moves:
            total = sum(change.classes)
            own_use = switches >> USE & 1 or total < 0
            classes = change.classes if own_use else (total, 0, 0)
            _on(agenda, rules, change.on).changes.append(classes)
    if switches >> LEAKS & 1:
        for day, cents in life.leaks:
            _on(agenda, rules, day).leaks.append(cents)


def _add_postings(agenda: _Agenda, life: World, rules: Rules, switches: int) -> dict[str, date]:
    posted: dict[str, date] = {}
    if switches >> POSTING & 1:
        for posting in life.postings:
            _on(agenda, rules, posting.on).postings.append(posting.excess_cents)
            posted[posting.month] = posting.on
        return posted
    for month in rules.months:
        day = _last_day(month)
        agenda[month][day].postings.append(0)
        posted[month] = day
    return posted


def _principal_parts(
    fact: MortgageMove, balance: int, rules: Rules, switches: int
) -> tuple[int, int]:
    """Principal and prepayment of one fact on the replayed balance, in cents."""
    paying, rated = switches >> PAYMENTS & 1, switches >> MORTGAGE_RATE & 1
    if fact.paid_cents == 0:
        return 0, min(fact.prepayment_cents, balance)
    if paying == rated:
        # The side's own interest, moved by the difference in balance only.
        moved = round_half_up(fact.periodic_rate * (balance - fact.before_cents))
        interest = max(0, fact.interest_cents + moved)
    else:
        rate = rules.rate_on_date[1 if rated else 0](fact.mortgage, fact.on)
        interest = round_half_up(rate * balance)
    paid = min(fact.paid_cents, balance + interest)
    principal = paid - interest
    return principal, min(fact.prepayment_cents, balance - principal)


__all__ = [
    "CAUSES",
    "InterestPaid",
    "LineMove",
    "MonthValues",
    "MortgageMove",
    "PostingMove",
    "Rules",
    "World",
    "replay",
]
