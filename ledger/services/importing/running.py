"""The import: read everything, lock, book everything, check the books, or undo it all."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from hashlib import sha256
from uuid import UUID

from django.db import transaction

from config import audit
from config.faults import fault_point
from config.problems import BadInput, Problem
from ledger.core.facts import facts_problems
from ledger.core.formats.summary import summary
from ledger.core.formats.types import ReadOptions
from ledger.mapping import household_value
from ledger.services.closing.staleness import mark_stale
from ledger.services.importing.booking import Booked, Shelf
from ledger.services.importing.resolving import Found, Resolver
from planning.access import Access
from planning.models import Household


@dataclass(frozen=True, slots=True)
class ImportRequest:
    """Files as (name, bytes), and what is known about them.

    Without `household` each file finds its account by number; with it, by
    `account`, by number, or as the household's only account of its kind.
    `dry_run` does everything and rolls it back.
    """

    files: tuple[tuple[str, bytes], ...]
    options: ReadOptions = field(default_factory=ReadOptions)
    household: str | None = None
    account: str | None = None
    dry_run: bool = False
    reason: str = ""


@dataclass(frozen=True, slots=True)
class ImportResult:
    """One answer a statement (`ledger.core.formats.summary`), the acts in words, all problems.

    With problems nothing was written, and every `imported` is 0. `places` has
    one row an answer: the household's id and the period; None where neither is known.
    """

    answers: tuple[dict[str, object], ...]
    acts: tuple[str, ...]
    problems: tuple[Problem, ...]
    places: tuple[tuple[UUID, date, date] | None, ...] = ()


class _Undo(Exception):  # noqa: N818 - rolls a transaction back, says nothing of an error
    """Leave the transaction without a trace."""


def import_statements(
    *, access: Access, request: ImportRequest, progress: Callable[[], None] | None = None
) -> ImportResult:
    """Import the files, all or none, in one transaction with its trail.

    Problems of the files are in the result, not raised: they belong beside the
    answers. `progress` is called after each file read.
    """
    access.require("statement.import")
    run = _Run(access, request, progress)
    try:
        with access.opened(), transaction.atomic():
            run.read()
            if not run.problems:
                run.book()
            if run.problems or request.dry_run:
                raise _Undo
            fault_point("import.booked")
    except _Undo:
        pass
    return run.result()


class _Run:
    def __init__(
        self, access: Access, request: ImportRequest, progress: Callable[[], None] | None
    ) -> None:
        self.access = access
        self.request = request
        self.progress = progress
        self.found: list[list[Found]] = [[] for _ in request.files]
        self.faults: list[list[Problem]] = [[] for _ in request.files]
        self.booked: list[Booked] = []

    @property
    def problems(self) -> tuple[Problem, ...]:
        return tuple(one for faults in self.faults for one in faults)

    def read(self) -> None:
        """Read every file and find its accounts; problems of all files are gathered."""
        request = self.request
        try:
            resolver = Resolver(self.access, request.household, request.account, request.options)
        except BadInput as error:
            # It concerns the request as a whole: said once, with the first file.
            self.faults[0] += error.problems
            return
        first: dict[bytes, str] = {}
        for place, (name, data) in enumerate(request.files):
            twin = first.setdefault(sha256(data).digest(), name)
            if twin != name:
                # Importing a file again later adds nothing; twice in one run is a slip.
                text = f"this is the same file as {twin}"
                self.faults[place].append(Problem(name, "", text, "Give each file once"))
                continue
            try:
                self.found[place] = resolver.read(place, name, data)
            except BadInput as error:
                self.faults[place] += error.problems
            if self.progress is not None:
                self.progress()

    def book(self) -> None:
        """Book household by household, each locked, in order of the statements' days."""
        by_household: dict[UUID, list[Found]] = {}
        for one in (one for listed in self.found for one in listed):
            by_household.setdefault(one.target.household_id, []).append(one)
        for household_id in sorted(by_household):
            household = Household.objects.select_for_update(no_key=True).get(pk=household_id)
            before = _messages(household)
            shelf = Shelf(self.access, household_id, self.request.reason)
            order = sorted(
                by_household[household_id], key=lambda one: (one.parsed.starts, one.parsed.ends)
            )
            acts = [done for one in order if (done := self._book(shelf, one)) is not None]
            self.booked += acts
            written = [one for one in acts if one.periods]
            if written and not self.problems:
                self._check_books(household, before, written)
            if written and not self.problems:
                self._record(household, written)

    def _book(self, shelf: Shelf, one: Found) -> Booked | None:
        try:
            return shelf.book(one)
        except BadInput as error:
            self.faults[one.file] += error.problems
            return None

    def _check_books(
        self, household: Household, before: frozenset[str], written: list[Booked]
    ) -> None:
        """What no longer holds between postings, uses and sources because of these files."""
        place, name = written[-1].found.file, written[-1].found.name
        for problem in facts_problems(household_value(household), name)[0]:
            if problem.message not in before:
                self.faults[place].append(
                    Problem(
                        name,
                        "",
                        problem.message,
                        f"{problem.remedy}; correct the decision in the book, or the file",
                    )
                )

    def _record(self, household: Household, written: list[Booked]) -> None:
        first = min(starts for one in written for starts, _ in one.periods)
        words = [one.words() for one in written]
        mark_stale(household_id=household.pk, month=first, reason="; ".join(words)[:500])
        audit.record(
            self.access,
            "statement.import",
            object_type="household",
            object_id=household.pk,
            detail={
                "ref": household.ref,
                "acts": words,
                "accepted_gap": self.request.options.accept_gap,
                "reason": self.request.reason,
            },
        )

    def result(self) -> ImportResult:
        """Answers in the order of the files."""
        done = {id(one.found): one for one in self.booked}
        answers: list[dict[str, object]] = []
        places: list[tuple[UUID, date, date] | None] = []
        bad = bool(self.problems)
        for place, (name, _) in enumerate(self.request.files):
            listed = self.found[place]
            for one in listed:
                act = done.get(id(one))
                places.append((one.target.household_id, one.parsed.starts, one.parsed.ends))
                answers.append(
                    summary(
                        name,
                        one.parsed,
                        account=one.target.ref,
                        imported=act.new if act and not bad else 0,
                        already_here=act.here if act else 0,
                        problems=self.faults[place] if one is listed[0] else (),
                    )
                )
            if not listed:
                places.append(None)
                answers.append(summary(name, None, problems=self.faults[place]))
        acts = () if bad else tuple(one.words() for one in self.booked)
        return ImportResult(tuple(answers), acts, self.problems, tuple(places))


def _messages(household: Household) -> frozenset[str]:
    """What was wrong with the book before, so that it is not blamed on a file."""
    return frozenset(one.message for one in facts_problems(household_value(household), "")[0])
