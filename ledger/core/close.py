"""Closing months: each sees only the facts dated up to its last day, and is a pure value.

`evaluate` closes every month from the first statement's to `through`; `close`
gives one of them. Nothing is read or written: the same household gives the
same rows with the same digests, whoever asks and in whatever order.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

from config.problems import BadInput, Problem
from ledger.core.accounts_due import AccountDue, accounts_due
from ledger.core.actuals import actual_row, variance
from ledger.core.attribution import Attribution, Sides, attribute_months
from ledger.core.deductions import DeductionYear, deduction_years
from ledger.core.digest import ENGINE, Digests
from ledger.core.drift.context import DriftContext
from ledger.core.drift.costs import DeductionCosts
from ledger.core.drift.findings import Finding, Step
from ledger.core.drift.lives import FindingRun, follow
from ledger.core.drift.rules import findings_at
from ledger.core.drift.thresholds import DEFAULTS, Thresholds
from ledger.core.facility_book import FacilityBook, facility_book
from ledger.core.facts import facts_problems
from ledger.core.notes import month_notes
from ledger.core.purposes import plan_purpose
from ledger.core.trace_adapter import opening_classes, view_of
from ledger.core.trace_types import Trace
from ledger.core.trace_view import TraceView
from ledger.core.tracing import Tracer
from planning.core.months import last_day, month_of, months_between
from planning.core.plan import run_plan
from planning.core.plan_types import OpeningClasses, PlanResult, PlanRow
from planning.core.purpose import PurposeFigures
from planning.core.types import Household


@dataclass(frozen=True, slots=True)
class MonthClose:
    """One month as its close saw it.

    `findings` are those that hold at this close, `runs` every run from the
    first close to this one. `variance` is empty and `plan` None for a month
    outside the plan. `deductible_to_date` is that of the calendar year, `notes`
    are questions for a person.
    """

    month: str
    as_of: date
    digest: str
    engine: str
    actual: PlanRow
    plan: PlanRow | None
    variance: Mapping[str, int]
    attribution: Attribution
    accounts: tuple[AccountDue, ...]
    deductible_to_date: int
    findings: tuple[Finding, ...]
    runs: tuple[FindingRun, ...]
    notes: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """A household evaluated through a month; `trace` is None without statements."""

    household: Household
    through: str | None
    plan: PlanResult
    closes: tuple[MonthClose, ...]
    trace: Trace | None
    view: TraceView | None
    deductions: tuple[DeductionYear, ...]
    warnings: tuple[str, ...]

    @property
    def runs(self) -> tuple[FindingRun, ...]:
        """Every finding from the first close to the last."""
        return self.closes[-1].runs if self.closes else ()


class Closing:
    """Works a household's closes out, each part once and only when it is asked for."""

    def __init__(self, household: Household, thresholds: Thresholds = DEFAULTS) -> None:
        self.household = household
        self.thresholds = thresholds
        self.digests = Digests(household, thresholds)
        self.tracer = Tracer(household)
        self._views: dict[str, tuple[Trace, TraceView]] = {}
        self._findings: dict[str, tuple[Finding, ...]] = {}
        self.costs = DeductionCosts(household)
        self._actual: dict[str, PlanRow] = {}
        self._attribution: tuple[str, Mapping[str, Attribution]] = ("", {})

    @cached_property
    def book(self) -> FacilityBook:
        """The facility by day."""
        return facility_book(self.household)

    @cached_property
    def plan(self) -> PlanResult:
        """The plan, on the traced classes of the evening before it starts."""
        return run_plan(self.household, self.opening)

    @cached_property
    def opening(self) -> Mapping[str, OpeningClasses]:
        """The traced classes of the lines on the evening before the plan starts."""
        plan = self.household.plan
        if plan is None:
            return {}
        return opening_classes(self.household, plan.starts - timedelta(days=1))

    @cached_property
    def purpose(self) -> PurposeFigures | None:
        """The plan's purpose figures."""
        return plan_purpose(self.household, self.plan, self.opening)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What is worth saying about facts and plan without being a fault."""
        return (*facts_problems(self.household, self.household.ref)[1], *self.plan.warnings)

    @cached_property
    def plan_rows(self) -> dict[str, PlanRow]:
        """The plan's rows by month."""
        return {one.month: one for one in self.plan.rows}

    def months(self, through: str) -> tuple[str, ...]:
        """Every month to close, oldest first."""
        first = first_month(self.household)
        return () if first is None else months_between(first, through)

    def traced(self, month: str) -> tuple[Trace, TraceView]:
        """The trace as of a month's last day."""
        if month not in self._views:
            found = self.tracer.at(last_day(month))
            self._views[month] = (found, view_of(self.household, found))
        return self._views[month]

    def findings(self, month: str) -> tuple[Finding, ...]:
        """The findings that hold at a month's close."""
        if month not in self._findings:
            self._findings[month] = findings_at(self._context(month))
        return self._findings[month]

    def _context(self, month: str) -> DriftContext:
        as_of = last_day(month)
        return DriftContext(
            household=self.household,
            month=month,
            as_of=as_of,
            book=self.book,
            trace=self.traced(month)[1],
            plan=self.plan,
            plan_rows=self.plan_rows,
            thresholds=self.thresholds,
            prime=tuple(one for one in self.household.prime if one[0] <= as_of),
            costs=self.costs,
            purpose=lambda: self.purpose,
        )

    def attribution(self, through: str) -> Mapping[str, Attribution]:
        """Why life differs from the plan, by month up to `through`."""
        if self._attribution[0] < through:
            self._attribution = (through, attribute_months(self._sides(), through))
        return self._attribution[1]

    def _sides(self) -> Sides:
        return Sides(
            household=self.household,
            plan=self.plan,
            book=self.book,
            planned=self.plan_rows,
            actual=self.actual,
            to_date=self.deductible_to_date,
            traced=lambda month: self.traced(month)[0],
            opening=self.opening,
        )

    def actual(self, month: str) -> PlanRow:
        """The month's actual row as its own close knows it."""
        if month not in self._actual:
            view = self.traced(month)[1]
            self._actual[month] = actual_row(self.household, self.book, view, month)
        return self._actual[month]

    def deductible_to_date(self, month: str) -> int:
        """Deductible interest of the year up to a month, as its close knows it."""
        view = self.traced(month)[1]
        return sum(view.deductible(one) for one in months_between(f"{month[:4]}-01", month))

    def close(self, month: str, runs: tuple[FindingRun, ...]) -> MonthClose:
        """One month, given the runs of findings up to it."""
        actual = self.actual(month)
        planned = self.plan_rows.get(month)
        as_of = last_day(month)
        return MonthClose(
            month=month,
            as_of=as_of,
            digest=self.digests.of(month, as_of),
            engine=ENGINE,
            actual=actual,
            plan=planned,
            variance={} if planned is None else variance(actual, planned),
            attribution=self.attribution(month).get(month, {}),
            accounts=accounts_due(self._context(month)),
            deductible_to_date=self.deductible_to_date(month),
            findings=self.findings(month),
            runs=runs,
            notes=month_notes(self._context(month)),
        )


def first_month(household: Household) -> str | None:
    """The month of the first statement; None without statements."""
    starts = [one.starts for one in household.statements]
    return month_of(min(starts)) if starts else None


def latest_month(household: Household) -> str | None:
    """The month of the latest statement's last day; None without statements."""
    ends = [one.ends for one in household.statements]
    return month_of(max(ends)) if ends else None


def close(household: Household, month: str, thresholds: Thresholds = DEFAULTS) -> MonthClose:
    """Close one month.

    The same value as that month in `evaluate`, whatever is on file for later
    months. Raises BadInput for a month before the first statement, and for a
    plan that cannot be played.
    """
    closing = Closing(household, thresholds)
    months = closing.months(month)
    if not months:
        raise BadInput([_nothing_to_close(household, month)])
    closes = [(one, closing.findings(one)) for one in months]
    return closing.close(month, follow(closes))


def evaluate(
    household: Household, through: str | None = None, thresholds: Thresholds = DEFAULTS
) -> Report:
    """Close every month from the first statement's to `through`.

    `through` is by default the month in which the latest statement ends.
    Without statements there is nothing to close and only the plan is played.
    Raises BadInput for a plan that cannot be played.
    """
    closing = Closing(household, thresholds)
    last = through or latest_month(household)
    months = () if last is None else closing.months(last)
    if last is None or not months:
        return Report(household, last, closing.plan, (), None, None, (), closing.warnings)
    closing.attribution(last)
    found: list[tuple[str, Sequence[Finding]]] = []
    closes: list[MonthClose] = []
    for month in months:
        found.append((month, closing.findings(month)))
        closes.append(closing.close(month, follow(found)))
    traced, view = closing.traced(last)
    return Report(
        household=household,
        through=last,
        plan=closing.plan,
        closes=tuple(closes),
        trace=traced,
        view=view,
        deductions=deduction_years(household, traced, last),
        warnings=closing.warnings,
    )


def _nothing_to_close(household: Household, month: str) -> Problem:
    first = first_month(household)
    if first is None:
        return Problem(
            household.ref, "month", "there is no statement to close", "Import the statements first"
        )
    return Problem(
        household.ref,
        "month",
        f"{month} lies before the first statement, which starts in {first}",
        f"Close a month from {first} on",
    )
