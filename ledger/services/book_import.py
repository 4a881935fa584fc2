"""Loading a book from a spreadsheet: every row, or none.

A household that is not on file is made. One that is on file must say the same;
a row never changes it, since a table cannot say all that a household may hold.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from django.db import transaction

from config.problems import BadInput, Problem
from ledger.mapping import household_value
from ledger.services.households import load_household, read_file
from ledger.services.setting_up import bytes_of
from planning.access import Access
from planning.core.book_rows import BookRow, read_rows
from planning.core.household_file import household_to_json
from planning.core.suitability import Suitability
from planning.core.types import Household
from planning.models import Household as HouseholdRow


@dataclass(frozen=True, slots=True)
class RowDone:
    """What a row did. No `changes`: it was on file already."""

    row: int
    ref: str
    name: str
    changes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BookResult:
    """The rows in order, or every problem. With problems nothing was written."""

    rows: tuple[RowDone, ...]
    problems: tuple[Problem, ...]


class _Undo(Exception):  # noqa: N818 - rolls a transaction back, says nothing of an error
    """Leave the transaction without a trace."""


def import_book(
    *, access: Access, name: str, data: bytes, dry_run: bool = False, reason: str = ""
) -> BookResult:
    """Load a table of households in one transaction. `dry_run` does everything and undoes it.

    Problems are in the result, not raised. The same file again changes nothing.
    """
    access.require("household.edit")
    try:
        rows = read_rows(data, name)
    except BadInput as error:
        return BookResult((), error.problems)
    done: list[RowDone] = []
    problems: list[Problem] = []
    seen: dict[str, int] = {}
    try:
        with access.opened(), transaction.atomic():
            for row in rows:
                try:
                    done.append(_load(access, row, name, seen, reason))
                except BadInput as error:
                    problems += (
                        replace(one, file=name, where=row.place(one.where))
                        for one in error.problems
                    )
            if problems or dry_run:
                raise _Undo
    except _Undo:
        pass
    return BookResult(() if problems else tuple(done), tuple(problems))


def _load(access: Access, row: BookRow, name: str, seen: dict[str, int], reason: str) -> RowDone:
    value = read_file(name, bytes_of(row.file))
    first = seen.setdefault(value.ref, row.number)
    if first != row.number:
        _refuse(f"row {first} has the same reference", "Give each household one row")
    if access.role == "advisor" and (value.advisor or "").casefold() != access.actor.casefold():
        text = "an advisor loads households of their own book"
        _refuse(text, f"Write {access.actor}, or ask a principal", "household.advisor")
    held = HouseholdRow.objects.filter(firm_id=access.firm_id, ref=value.ref).first()
    if held is not None:
        if not access.households().filter(pk=held.pk).exists():
            _refuse("the reference is in use in this firm", "Choose another reference")
        if not _same(household_value(held), value):
            _refuse("it is on file and differs from this row", "Change it on its own page")
        return RowDone(row.number, value.ref, value.name, ())
    loaded = load_household(
        access=access,
        value=value,
        name=f"{name}, row {row.number}",
        content=bytes_of(household_to_json(value)),
        reason=reason,
    )
    return RowDone(row.number, value.ref, value.name, loaded.changes)


def _refuse(message: str, remedy: str, where: str = "household.ref") -> None:
    raise BadInput([Problem("", where, message, remedy)])


def _same(held: Household, said: Household) -> bool:
    """Whether the book says what a row says, whatever statements and uses it has by now."""
    plain = replace(held, statements=(), uses=(), suitability=Suitability())
    return _ordered(plain) == _ordered(said)


def _ordered(value: Household) -> Household:
    plan = value.plan
    if plan is None:
        return value
    return replace(value, plan=replace(plan, opening=tuple(sorted(plan.opening))))
