"""Closing on request: a range of months, one firm or all, one household or all."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from config.database import firm_scope
from config.problems import BadInput, Problem
from ledger.models import HouseholdMonth
from ledger.selectors import runs
from ledger.services.closing import facts, running, scheduling, sweeping
from planning.models import Firm, Household
from planning.selectors.firms import find_firm, firm_ids

_MONTH = re.compile(r"[0-9]{4}-(0[1-9]|1[0-2])\Z")


COMMAND = "close_month"


@dataclass(frozen=True, slots=True)
class Work:
    """The households of one firm that a request concerns, in the order of their references."""

    firm_id: UUID
    firm: str
    first: date
    last: date
    households: tuple[UUID, ...]
    one_household: bool


@dataclass(frozen=True, slots=True)
class FirmAnswer:
    """How a firm's months stand after a request."""

    firm: str
    closes: tuple[runs.CloseProgress, ...]
    items: tuple[runs.ItemProgress, ...]

    def count(self, state: str) -> int:
        """The number of household months in a state."""
        return sum(1 for item in self.items if item.state == state)

    @property
    def settled(self) -> int:
        """The household months that nobody needs to wait for.

        A closed month whose facts changed is not settled until it was looked at
        again, unless that has failed already.
        """
        return self.count("parked") + sum(
            1
            for item in self.items
            if item.state == "done" and (not item.stale_reason or item.error)
        )


def plan_work(
    *, month: str, first: str | None, firm: str | None, household: str | None
) -> tuple[Work, ...]:
    """What a request asks for, with a row for every household month in it.

    `first` is the first month of a range that ends in `month`. Raises BadInput,
    and makes no row, when a month is malformed, not over, or before the first
    statement, or when there is no such firm or household. Without `firm`, firms
    that have nothing to close in that month are left out.
    """
    span = _span(month, first)
    found: list[_Found] = []
    problems: list[Problem] = []
    for firm_id in _firms(firm):
        with firm_scope(firm_id):
            try:
                found.append(_look(firm_id, span, household))
            except BadInput as error:
                problems.extend(error.problems)
    if not found:
        raise BadInput(problems)
    if household is not None and len(found) > 1:
        names = ", ".join(one.firm for one in found)
        message = f"{household} is a household of {names}"
        raise BadInput([_problem("--household", message, "Name the firm with --firm")])
    return tuple(_make_rows(one, span) for one in found)


@dataclass(frozen=True)
class _Found:
    """What a request means for one firm, before any row is made."""

    firm_id: UUID
    firm: str
    only: UUID | None
    books: facts.Coverage
    months: tuple[date, ...]


def _look(firm_id: UUID, span: tuple[date, date], household: str | None) -> _Found:
    """The firm's part of a request. Raises BadInput when it has none."""
    name = Firm.objects.get(pk=firm_id).name
    only = None
    if household is not None:
        only = Household.objects.filter(ref=household).values_list("pk", flat=True).first()
        if only is None:
            message = f"{name} has no household {household}"
            remedy = "Check the reference, or load the household first"
            raise BadInput([_problem("--household", message, remedy)])
    books = facts.coverage(only)
    return _Found(firm_id, name, only, books, tuple(_months(books, span, name)))


def _make_rows(found: _Found, span: tuple[date, date]) -> Work:
    """A row for every household month of a request, made once."""
    with firm_scope(found.firm_id):
        for month in found.months:
            scheduling.schedule_month(
                firm_id=found.firm_id, month=month, books=found.books, only=found.only
            )
        rows = HouseholdMonth.objects.filter(month__gte=span[0], month__lte=span[1])
        if found.only is not None:
            rows = rows.filter(household_id=found.only)
        listed = rows.order_by("household__ref").values_list("household_id", flat=True)
        households = tuple(dict.fromkeys(listed))
    return Work(
        firm_id=found.firm_id,
        firm=found.firm,
        first=span[0],
        last=span[1],
        households=households,
        one_household=found.only is not None,
    )


def _months(books: facts.Coverage, span: tuple[date, date], firm: str) -> list[date]:
    """The months of the span that are over and have statements. Raises BadInput."""
    over = books.months_over()
    if span[1] not in over:
        if over and span[1] < over[0]:
            message = (
                f"{span[1]:%Y-%m} lies before the first statement, which starts in {over[0]:%Y-%m}"
            )
            raise BadInput([_problem("MONTH", message, f"Close a month from {over[0]:%Y-%m} on")])
        if not books.households:
            message = f"{firm} has no statement to close"
            raise BadInput([_problem("MONTH", message, "Load a household or import statements")])
        last = f"{over[-1]:%Y-%m}" if over else "the month of the first statement, once it is over"
        message = f"{span[1]:%Y-%m} is not over yet"
        raise BadInput([_problem("MONTH", message, f"Close {last}, or wait for the month's end")])
    return [month for month in over if span[0] <= month <= span[1]]


def _span(month: str, first: str | None) -> tuple[date, date]:
    """First and last month of a request. Raises BadInput with every fault."""
    problems = [
        _problem(where, f"{text!r} is not a month", "Write the year and the month: 2026-05")
        for where, text in (("MONTH", month), ("--from", first))
        if text is not None and not _MONTH.match(text)
    ]
    if problems:
        raise BadInput(problems)
    last_day_one = date.fromisoformat(f"{month}-01")
    first_day_one = date.fromisoformat(f"{first or month}-01")
    if first_day_one > last_day_one:
        raise BadInput(
            [
                _problem(
                    "--from", f"{first} is later than {month}", "Give the earlier month to --from"
                )
            ]
        )
    return first_day_one, last_day_one


def _firms(firm: str | None) -> list[UUID]:
    """The firms a request concerns. Raises BadInput for a name nobody has."""
    if firm is not None:
        return [find_firm(firm, COMMAND).pk]
    ids = firm_ids()
    if not ids:
        raise BadInput([_problem("--firm", "there is no firm yet", "Load a household first")])
    return list(ids)


def _problem(where: str, message: str, remedy: str) -> Problem:
    return Problem(COMMAND, where, message, remedy)


def close_here(
    work: Work, progress: Callable[[running.Outcome], None] | None = None
) -> tuple[running.Outcome, ...]:
    """Close everything of a request in this process, household by household.

    Closed months are looked at again too: one whose facts, thresholds or engine
    changed without a mark gets its new version as well. Returns what became of
    every month that was worked on.
    """
    found: list[running.Outcome] = []
    for household_id in work.households:
        found += running.run_household(
            firm_id=work.firm_id,
            household_id=household_id,
            through=work.last,
            recheck=True,
            progress=progress,
        )
    return tuple(found)


def send(work: Work) -> int:
    """Hint the workers at everything of a request; how many hints."""
    sent = 0
    for household_id in work.households:
        with firm_scope(work.firm_id):
            sent += sweeping.hint_due(firm_id=work.firm_id, household_id=household_id)
    return sent


def watch(work: Work) -> Iterator[tuple[int, int]]:
    """How many household months of a request are settled, out of how many; once a call."""
    while True:
        answered = answer(work)
        yield answered.settled, len(answered.items)


def answer(work: Work) -> FirmAnswer:
    """How the months of a request stand now."""
    with firm_scope(work.firm_id):
        only = work.households[0] if work.one_household and work.households else None
        return FirmAnswer(
            firm=work.firm,
            closes=runs.closes(first=work.first, last=work.last),
            items=runs.items(first=work.first, last=work.last, household=only),
        )
