"""Why life differs from the plan: each gap shared over its causes, to the cent.

Causes: the line's rate, the mortgage's rate, payments and prepayments,
re-borrowing (missed, late, extra, repaid), the use of draws, leaks (capital or
proceeds spent), and posting differences. Each is switched from planned to
actual in every combination (ledger/core/replay.py) and the effects averaged
over every order (ledger/core/shapley.py), so the order of causes plays no part
and the parts sum to the gap exactly. What the replay cannot follow (rounding,
a posting that differs from its computation, other lines) lands on `posting`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from ledger.core.contract import periodic_of, rate_at
from ledger.core.facility_book import FacilityBook
from ledger.core.line_state import NightRates
from ledger.core.mortgage_facts import scheduled_index
from ledger.core.replay import (
    CAUSES,
    POSTING,
    InterestPaid,
    LineMove,
    MonthValues,
    MortgageMove,
    PostingMove,
    Rules,
    World,
    replay,
)
from ledger.core.shapley import shapley_cents
from ledger.core.trace_types import NONE, Classes, Trace, add
from planning.core.months import last_day, month_of, months_between
from planning.core.plan_types import OpeningClasses, PlanResult, PlanRow
from planning.core.rates import merged_prime, periodic_fraction, rate_on, shifted
from planning.core.room import Limits, opening_excess_cents, principal_to_excess_cents
from planning.core.types import Household, Line, RateSteps

MEASURES = ("deductible", "deductible_to_date", "mortgage", "line")
_RATE_SCALE = Decimal(10) ** 12

Attribution = Mapping[str, Mapping[str, int]]
"""Cents by measure and cause."""


@dataclass(frozen=True, slots=True)
class Sides:
    """What the close knows of both sides, by month.

    `actual` and `planned` are month rows, `to_date` the deductible interest of
    the year up to a month as its close knows it; `traced` gives the trace as of a
    month's end; `opening` the classes of the line when the plan starts.
    """

    household: Household
    plan: PlanResult
    book: FacilityBook
    planned: Mapping[str, PlanRow]
    actual: Callable[[str], PlanRow]
    to_date: Callable[[str], int]
    traced: Callable[[str], Trace]
    opening: Mapping[str, OpeningClasses]


def attribute_months(sides: Sides, through: str) -> dict[str, Attribution]:
    """The attribution of every month that has a plan row, up to `through`.

    Month -> measure -> cause -> cents; every cause is listed. Each month sees
    the trace as of its own end, as its close does.
    """
    household = sides.household
    if household.plan is None or not household.lines:
        return {}
    line = _line(household)
    statements = household.statements_of(line.ref)
    if not statements:
        return {}
    first = max(month_of(household.plan.starts), month_of(statements[0].starts))
    start = month_of(household.plan.starts)
    months = tuple(one for one in months_between(start, through) if one in sides.planned)
    judged = [one for one in months if one >= first]
    if not judged:
        return {}
    plan = _plan_world(sides, line)
    latest = _life_world(sides, line, sides.traced(judged[-1]))
    runs = _Runs(plan, latest, _rules(sides, line, months))
    found: dict[str, Attribution] = {}
    for month in judged:
        life = _life_world(sides, line, sides.traced(month))
        known = runs
        if life != _until(latest, last_day(month)):
            # A paper or purchase learned later changes what this close knew.
            until = tuple(one for one in months if one <= month)
            known = _Runs(plan, life, _rules(sides, line, until))
        found[month] = _attribution(sides, known, months, month)
    return found


class _Runs:
    """The month values of every combination of the causes that differ at all."""

    def __init__(self, plan: World, life: World, rules: Rules) -> None:
        self.months = {month: index for index, month in enumerate(rules.months)}
        self.active = _active(plan, life, rules)
        self.values: list[tuple[MonthValues, ...]] = []
        for mask in range(1 << len(self.active)):
            switches = sum(1 << cause for bit, cause in enumerate(self.active) if mask >> bit & 1)
            self.values.append(replay(plan, life, rules, switches))

    def measure(self, read: Callable[[tuple[MonthValues, ...], int], int], month: str) -> list[int]:
        """One measure of one month for every combination."""
        at = self.months[month]
        return [read(values, at) for values in self.values]


def _attribution(sides: Sides, runs: _Runs, months: tuple[str, ...], month: str) -> Attribution:
    january = f"{month[:4]}-01"
    year = [one for one in months if january <= one <= month]
    actual, planned = sides.actual(month), sides.planned[month]
    gaps: dict[str, tuple[int, int]] = {
        "deductible": (planned.deductible, actual.deductible),
        "deductible_to_date": (
            sum(sides.planned[one].deductible for one in year),
            sides.to_date(month),
        ),
        "mortgage": (planned.mortgage_closing, actual.mortgage_closing),
        "line": (planned.line_closing, actual.line_closing),
    }
    first = runs.months[year[0]]
    reads: dict[str, Callable[[tuple[MonthValues, ...], int], int]] = {
        "deductible": lambda values, at: values[at].deductible,
        "deductible_to_date": lambda values, at: sum(
            one.deductible for one in values[first : at + 1]
        ),
        "mortgage": lambda values, at: values[at].mortgage,
        "line": lambda values, at: values[at].line,
    }
    return {
        measure: _shared(runs, runs.measure(reads[measure], month), *gaps[measure])
        for measure in MEASURES
    }


def _shared(runs: _Runs, values: list[int], planned: int, actual: int) -> dict[str, int]:
    """Share one gap; what the replay misses at either end goes with `posting`."""
    bit = 1 << runs.active.index(POSTING)
    low, high = planned - values[0], actual - values[-1]
    tied = [value + (high if mask & bit else low) for mask, value in enumerate(values)]
    parts = dict.fromkeys(CAUSES, 0)
    shares = shapley_cents(tied, len(runs.active))
    for cause, cents in zip(runs.active, shares, strict=True):
        parts[CAUSES[cause]] = cents
    assert sum(parts.values()) == actual - planned
    return parts


def _active(plan: World, life: World, rules: Rules) -> list[int]:
    """The causes that can have an effect; `posting` always, since it takes the rest."""

    def paid(world: World) -> list[tuple[date, int, int, int]]:
        return [
            (one.on, one.mortgage, one.paid_cents, one.prepayment_cents)
            for one in world.mortgage_moves
        ]

    planned_rate, actual_rate = rules.rate_on_date
    moves = [*plan.mortgage_moves, *life.mortgage_moves]
    differs = {
        0: _steps_within(plan.rates, rules) != _steps_within(life.rates, rules),
        1: any(
            planned_rate(one.mortgage, one.on) != actual_rate(one.mortgage, one.on)
            for one in moves
        ),
        2: paid(plan) != paid(life) or plan.mortgage_opening != life.mortgage_opening
        or any(one.share < 1 or month_of(one.on) != one.month for one in life.interest_paid)
        or len(life.interest_paid) != len(life.postings),
        3: True,
        4: any(max(one.classes[1:]) > 0 for one in life.line_moves)
        or plan.line_opening != life.line_opening,
        5: bool(life.leaks),
        6: True,
    }  # fmt: skip
    return [cause for cause, matters in differs.items() if matters]


def _steps_within(rates: RateSteps, rules: Rules) -> list[tuple[date, Decimal | None]]:
    """A series as it shows between the first and the last day of the months."""
    last = last_day(rules.months[-1])
    shown: list[tuple[date, Decimal | None]] = [(rules.starts, rate_on(rates, rules.starts))]
    for day, rate in rates:
        if rules.starts < day <= last and rate != shown[-1][1]:
            shown.append((day, rate))
    return shown


# -- the two sides ----------------------------------------------------------------


def _line(household: Household) -> Line:
    plan = household.plan
    assert plan is not None
    wanted = plan.reborrow.line if plan.reborrow else household.lines[0].ref
    return next(one for one in household.lines if one.ref == wanted)


def _plan_world(sides: Sides, line: Line) -> World:
    plan = sides.household.plan
    assert plan is not None
    mortgages = sides.household.mortgages
    places = {one.ref: index for index, one in enumerate(mortgages)}
    opening = dict(plan.opening)
    moves = tuple(
        MortgageMove(
            on=one.date,
            mortgage=places[one.mortgage],
            paid_cents=one.payment,
            interest_cents=one.interest,
            prepayment_cents=one.prepayment,
            before_cents=one.balance + one.principal + one.prepayment,
            periodic_rate=periodic_fraction(
                max(one.rate, Decimal(0)),
                mortgages[places[one.mortgage]].compounding,
                mortgages[places[one.mortgage]].frequency,
            ),
        )
        for one in sides.plan.payments
    )
    classes = sides.opening.get(line.ref)
    return World(
        mortgage_opening=tuple(opening.get(one.ref, 0) for one in mortgages),
        mortgage_moves=moves,
        line_opening=(0, opening.get(line.ref, 0), 0)
        if classes is None
        else (classes.eligible_cents, classes.unsupported_cents, classes.ineligible_cents),
        line_moves=(),
        rates=shifted(merged_prime(plan.prime, sides.household.prime), line.spread),
        leaks=(),
        postings=(),
        interest_paid=(),
    )


def _life_world(sides: Sides, line: Line, trace: Trace) -> World:
    household = sides.household
    plan = household.plan
    assert plan is not None
    before = plan.starts - timedelta(days=1)
    books = [sides.book.mortgages[one.ref] for one in household.mortgages]
    traced = trace.lines[line.ref]
    opening: Classes = NONE
    for row in traced.rows:
        if row.on <= before:
            opening = add(opening, row.change)
    # Sorted by mortgage within a day, as the plan lists them.
    moves = sorted(
        (
            (fact.on, place, sequence, _move(sides, place, fact.id))
            for place, book in enumerate(books)
            for sequence, fact in enumerate(book.facts)
            if plan.starts <= fact.on <= trace.as_of
        ),
        key=lambda one: one[:3],
    )
    changes = [
        *((one.on, one.classes) for one in trace.draws if one.line == line.ref),
        *(
            (one.on, (-one.classes[0], -one.classes[1], -one.classes[2]))
            for one in trace.repaid
            if one.line == line.ref
        ),
    ]
    return World(
        mortgage_opening=tuple(book.balance_on(before) for book in books),
        mortgage_moves=tuple(one[3] for one in moves),
        line_opening=opening,
        line_moves=tuple(
            LineMove(on, classes) for on, classes in sorted(changes) if on >= plan.starts
        ),
        rates=_life_rates(household, line),
        leaks=tuple(
            (leak.on, cents)
            for leak in trace.leaks
            for ref, cents in leak.by_line
            if ref == line.ref and leak.on >= plan.starts
        ),
        postings=tuple(
            PostingMove(
                one.on,
                month_of(one.on),
                0 if one.computed is None else sum(one.classes) - one.computed,
            )
            for one in traced.postings
            if one.on >= plan.starts
        ),
        interest_paid=_interest_paid(line.ref, trace, plan.starts),
    )


def _move(sides: Sides, place: int, fact_id: str) -> MortgageMove:
    mortgage = sides.household.mortgages[place]
    book = sides.book.mortgages[mortgage.ref]
    fact = next(one for one in book.facts if one.id == fact_id)
    payment = fact.kind == "payment"
    rate = rate_at(mortgage, scheduled_index(mortgage, fact.on), sides.household.prime)
    return MortgageMove(
        on=fact.on,
        mortgage=place,
        paid_cents=fact.amount if payment else 0,
        interest_cents=fact.interest,
        prepayment_cents=0 if payment else fact.principal,
        before_cents=fact.balance + fact.principal,
        periodic_rate=Fraction(0) if rate is None else periodic_of(mortgage, rate),
    )


def _life_rates(household: Household, line: Line) -> RateSteps:
    nights = NightRates.of(household, line)
    return tuple(
        (day, Decimal(rate) / _RATE_SCALE)
        for day, rate in zip(nights.dates, nights.rates, strict=True)
        if rate is not None
    )


def _interest_paid(line: str, trace: Trace, starts: date) -> tuple[InterestPaid, ...]:
    posted: dict[str, int] = {}
    for one in trace.lines[line].postings:
        month = month_of(one.on)
        posted[month] = posted.get(month, 0) + sum(one.classes)
    paid: dict[str, int] = {}
    found: list[InterestPaid] = []
    for payment in trace.payments:
        month = month_of(payment.posted_on)
        if payment.line != line or payment.posted_on < starts or not posted.get(month):
            continue
        paid[month] = paid.get(month, 0) + sum(payment.classes)
        found.append(InterestPaid(payment.on, month, Fraction(paid[month], posted[month])))
    return tuple(found)


def _until(world: World, day: date) -> World:
    """A world's facts dated on or before a day."""
    return World(
        mortgage_opening=world.mortgage_opening,
        mortgage_moves=tuple(one for one in world.mortgage_moves if one.on <= day),
        line_opening=world.line_opening,
        line_moves=tuple(one for one in world.line_moves if one.on <= day),
        rates=world.rates,
        leaks=tuple(one for one in world.leaks if one[0] <= day),
        postings=tuple(one for one in world.postings if one.on <= day),
        interest_paid=tuple(one for one in world.interest_paid if one.on <= day),
    )


def _rules(sides: Sides, line: Line, months: tuple[str, ...]) -> Rules:
    household = sides.household
    plan = household.plan
    assert plan is not None
    facility, reborrow = household.facility, plan.reborrow
    mortgages = household.mortgages
    opening = dict(plan.opening)
    owed = sum(opening.get(one.ref, 0) for one in mortgages)
    drawn = sum(opening.get(one.ref, 0) for one in household.lines)
    planned: dict[int, list[tuple[date, Fraction]]] = {}
    for move in _plan_world(sides, line).mortgage_moves:
        planned.setdefault(move.mortgage, []).append((move.on, move.periodic_rate))

    def plan_rate(place: int, day: date) -> Fraction:
        # The rate of the plan's payment on that day, else of the one before it.
        found = planned.get(place, [(day, Fraction(0))])
        known = [rate for on, rate in found if on <= day]
        return known[-1] if known else found[0][1]

    def life_rate(place: int, day: date) -> Fraction:
        mortgage = mortgages[place]
        rate = rate_at(mortgage, scheduled_index(mortgage, day), household.prime)
        return plan_rate(place, day) if rate is None else periodic_of(mortgage, rate)

    def to_excess(principal: int, excess: int, before: int) -> int:
        return principal_to_excess_cents(facility.excess_rule, principal, excess, before)

    return Rules(
        starts=plan.starts,
        months=months,
        share=Fraction(reborrow.share) if reborrow else Fraction(0),
        reserve_cents=reborrow.reserve_cents if reborrow else 0,
        opening_draw_cents=reborrow.opening_draw_cents if reborrow else 0,
        excess_cents=opening_excess_cents(facility, owed, drawn),
        to_excess=to_excess,
        limit_of=Limits.of(facility).limit_cents,
        rate_on_date=(plan_rate, life_rate),
        pays_by_advance=facility.capitalised_interest == "paid-by-advance",
        interest_from_line=plan.line_interest == "from-line",
        actual_year_basis=line.day_basis == "actual",
    )
