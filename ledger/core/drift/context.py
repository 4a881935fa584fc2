"""What a drift rule may look at: one household at the close of one month."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from ledger.core.drift.costs import DeductionCosts
from ledger.core.drift.thresholds import Thresholds
from ledger.core.facility_book import FacilityBook
from ledger.core.trace_view import TraceView
from planning.core.money import round_half_up
from planning.core.months import last_day, month_of, months_between
from planning.core.plan_types import PlanResult, PlanRow
from planning.core.purpose import PurposeFigures
from planning.core.rates import rate_on
from planning.core.types import Household, Line, RateSteps


@dataclass(frozen=True, slots=True)
class DriftContext:
    """A household as of the last day of a month.

    `trace` holds the facts dated up to `as_of`; `book` holds every statement
    and is only asked about days up to then. `costs` says what a lost deduction
    costs in tax; `purpose` gives the plan's purpose figures, worked out when
    first asked for, None without a plan.
    """

    household: Household
    month: str
    as_of: date
    book: FacilityBook
    trace: TraceView
    plan: PlanResult
    plan_rows: Mapping[str, PlanRow]
    thresholds: Thresholds
    prime: RateSteps
    costs: DeductionCosts
    purpose: Callable[[], PurposeFigures | None]

    def age(self, day: date) -> int:
        """Days from a date to the close."""
        return (self.as_of - day).days

    def in_month(self, day: date) -> bool:
        """Whether a date falls in the month being closed."""
        return (day.year, day.month) == (self.as_of.year, self.as_of.month)

    def line_rate(self, line: Line, day: date) -> Decimal | None:
        """The line's yearly rate on a day: the statement's where stated, else prime + spread."""
        covering = self.book.statement_covering(line.ref, day)
        stated = rate_on(covering.rates, day) if covering else None
        if stated is not None:
            return stated
        prime = rate_on(self.prime, day)
        return None if prime is None else prime + line.spread

    def uncured(self, lines: tuple[str, ...], since: date) -> bool:
        """Whether, at every month's end from a fact to now, some line it touched still had
        ineligible principal, as known now.
        """
        steps = [self.trace.lines[line].ineligible for line in lines if line in self.trace.lines]
        ends = [last_day(month) for month in months_between(month_of(since), self.month)]
        return all(any(one.on(end) > 0 for one in steps) for end in ends)

    def line(self, ref: str) -> Line:
        """The line of that reference."""
        return next(one for one in self.household.lines if one.ref == ref)

    def lost_tax(self, cents: int, line: str, *, claimed: bool = False) -> int:
        """A year's tax on the line's interest on an amount, in cents.

        tax(deduction so far) - tax(deduction so far + amount x the line's rate at the close)

        where the deduction so far is a year's interest on all eligible principal.
        With `claimed` the amount is part of it already. Zero when the rate, or
        any tax, is not known.
        """
        rate = self.line_rate(self.line(line), self.as_of)
        return 0 if rate is None else self.tax_on(Fraction(rate) * cents, claimed=claimed)

    def tax_on(self, interest: Fraction, *, claimed: bool = False) -> int:
        """A year's tax on interest of so many cents a year, as `lost_tax` counts it."""
        deducted = self._deducted_a_year()
        if claimed:
            deducted = max(Fraction(0), deducted - interest)
        return self.costs.of(self.as_of, interest, deducted)

    def _deducted_a_year(self) -> Fraction:
        """A year's interest on the eligible principal of every line at the rates of the close."""
        total = Fraction(0)
        for ref, view in self.trace.lines.items():
            rate = self.line_rate(self.line(ref), self.as_of)
            total += 0 if rate is None else Fraction(rate) * view.principal[0]
        return total

    def interest_at_line_rate(self, cents: int, line: str) -> int:
        """A year's interest on an amount at the line's rate, in cents."""
        rate = self.line_rate(self.line(line), self.as_of)
        return 0 if rate is None else max(0, round_half_up(Fraction(rate) * cents))
