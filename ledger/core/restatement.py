"""What a late or corrected fact changed: two evaluations of one household side by side.

Facts are compared thing by thing (an entry by its id, a use by its draw, a
paper by draw and name, a term by mortgage and start), months measure by
measure. Pure: nothing here decides what is right, it says what is different.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields
from datetime import date
from typing import Literal

from ledger.core.digest import canonical, canonical_text
from planning.core.money import text_from_cents
from planning.core.types import Entry, Household, Statement, Use

Action = Literal["added", "removed", "altered"]
Fields = dict[str, str]
_Things = dict[tuple[str, str], tuple[date | None, Fields]]


@dataclass(frozen=True, slots=True)
class FieldChange:
    """One field of a fact as text, amounts in dollars; "" where there was or is none."""

    name: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class FactChange:
    """A fact that was added, removed or altered.

    `what` is its sort: entry, statement, use, evidence, term, rate, prime,
    facility, mortgage, line, investment, member, plan, household. `where` names
    it, `on` dates it when it has a date. Of an altered fact only what differs.
    """

    what: str
    action: Action
    where: str
    on: date | None
    fields: tuple[FieldChange, ...]


@dataclass(frozen=True, slots=True)
class MeasureChange:
    """A measure of a month before and after, in cents."""

    measure: str
    before: int
    after: int

    @property
    def difference(self) -> int:
        """After less before."""
        return self.after - self.before


@dataclass(frozen=True, slots=True)
class MonthChange:
    """A month whose figures changed, in the order the measures were given."""

    month: str
    measures: tuple[MeasureChange, ...]

    def difference(self, measure: str) -> int:
        """The change of one measure, 0 when it did not change."""
        return sum(one.difference for one in self.measures if one.measure == measure)


@dataclass(frozen=True, slots=True)
class Restatement:
    """What changed in the facts, and what that changed in the months."""

    facts: tuple[FactChange, ...]
    months: tuple[MonthChange, ...]

    def difference(self, measure: str) -> int:
        """The change of a flow, such as `deductible`, over all months together."""
        return sum(one.difference(measure) for one in self.months)


Months = Mapping[str, Mapping[str, int]]
"""Measures in cents by month."""


def restatement(
    before: Household,
    after: Household,
    months_before: Months,
    months_after: Months,
    as_of: date | None = None,
) -> Restatement:
    """The difference of two evaluations of one household.

    `as_of` leaves out facts dated later, which no month up to it rests on.
    """
    return Restatement(
        fact_changes(before, after, as_of), month_changes(months_before, months_after)
    )


def month_changes(before: Months, after: Months) -> tuple[MonthChange, ...]:
    """Months with at least one measure that differs; a month on one side only counts as zeros."""
    found: list[MonthChange] = []
    for month in sorted({*before, *after}):
        one, two = before.get(month, {}), after.get(month, {})
        changed = tuple(
            MeasureChange(name, one.get(name, 0), two.get(name, 0))
            for name in dict.fromkeys((*one, *two))
            if one.get(name, 0) != two.get(name, 0)
        )
        if changed:
            found.append(MonthChange(month, changed))
    return tuple(found)


def fact_changes(
    before: Household, after: Household, as_of: date | None = None
) -> tuple[FactChange, ...]:
    """Facts that were added, removed or altered, dated ones first and in date order."""
    one, two = dict(_things(before, as_of)), dict(_things(after, as_of))
    found: list[FactChange] = []
    for key in dict.fromkeys((*one, *two)):
        old, new = one.get(key), two.get(key)
        if old == new:
            continue
        on = new[0] if new is not None else old[0] if old is not None else None
        held, now = (old[1] if old else {}), (new[1] if new else {})
        changed = tuple(
            FieldChange(name, held.get(name, ""), now.get(name, ""))
            for name in dict.fromkeys((*held, *now))
            if held.get(name, "") != now.get(name, "")
        )
        action: Action = "added" if old is None else "removed" if new is None else "altered"
        if changed:
            found.append(FactChange(key[0], action, key[1], on, changed))
    return tuple(sorted(found, key=lambda change: (change.on or date.max, change.what)))


# -- every fact as a named thing with fields of text --------------------------------

_Thing = tuple[tuple[str, str], tuple[date | None, Fields]]


def _things(household: Household, as_of: date | None) -> Iterator[_Thing]:
    latest = as_of or date.max
    dates = {entry.id: entry.date for one in household.statements for entry in one.entries}
    for statement in household.statements:
        if statement.starts > latest:
            continue
        yield _statement(statement, latest)
        for entry in statement.entries:
            if entry.date <= latest:
                yield ("entry", entry.id), (entry.date, _entry(statement, entry))
    for use in household.uses:
        day = dates.get(use.draw)
        if day is None or day <= latest:
            yield ("use", use.draw), (day, {"splits": _splits(use)})
            yield from _papers(use, day, latest)
    for day, rate in household.prime:
        if day <= latest:
            yield ("prime", day.isoformat()), (day, {"rate": f"{rate.normalize():f}"})
    yield from _standing(household)


def _statement(one: Statement, latest: date) -> _Thing:
    found = {"opening": text_from_cents(one.opening_cents)}
    if one.ends <= latest:
        found["closing"] = text_from_cents(one.closing_cents)
        if one.value_cents is not None:
            found["value"] = text_from_cents(one.value_cents)
    if one.limit_cents is not None:
        found["limit"] = text_from_cents(one.limit_cents)
    for day, rate in one.rates:
        if day <= latest:
            found[f"rate {day}"] = f"{rate.normalize():f}"
    return ("statement", f"{one.account} {one.starts} – {one.ends}"), (one.starts, found)


def _entry(statement: Statement, entry: Entry) -> Fields:
    return {"account": statement.account} | _fields_of(entry, leave_out=("id",))


def _splits(use: Use) -> str:
    return "; ".join(
        " ".join(
            filter(None, (text_from_cents(one.amount_cents), one.use, one.to or "", one.of or ""))
        )
        for one in use.splits
    )


def _papers(use: Use, day: date | None, latest: date) -> Iterator[_Thing]:
    for number, split in enumerate(use.splits):
        place = f"{use.draw} / {number + 1}" if number else use.draw
        for paper in split.evidence:
            if paper.on is None or paper.on <= latest:
                known = {"paper": paper.ref}
                if paper.on is not None:
                    known["known on"] = paper.on.isoformat()
                yield ("evidence", f"{place}: {paper.ref}"), (day, known)


def _standing(household: Household) -> Iterator[_Thing]:
    """What has no date of its own: people, contracts, accounts, the plan."""
    head = {"name": household.name, "province": household.province}
    yield ("household", household.ref), (None, head | {"advisor": household.advisor or ""})
    yield ("facility", "facility"), (None, _fields_of(household.facility))
    for mortgage in household.mortgages:
        held = _fields_of(mortgage, leave_out=("ref", "terms"))
        yield ("mortgage", mortgage.ref), (None, held)
        for term in mortgage.terms:
            where = f"{mortgage.ref} {term.starts}"
            yield ("term", where), (term.starts, _fields_of(term, leave_out=("starts",)))
    groups: tuple[tuple[str, Iterable[object]], ...] = (
        ("line", household.lines),
        ("investment", household.investments),
        ("member", household.members),
    )
    for what, group in groups:
        for one in group:
            held = _fields_of(one, leave_out=("ref",))
            yield (what, str(getattr(one, "ref", ""))), (None, held)
    if household.plan is not None:
        yield ("plan", "plan"), (None, _fields_of(household.plan))


def _fields_of(value: object, leave_out: tuple[str, ...] = ()) -> Fields:
    """A value's own fields as text; fields that are None are left out."""
    found: Fields = {}
    for one in fields(value):  # type: ignore[arg-type]
        held = getattr(value, one.name)
        if one.name in leave_out or held is None:
            continue
        if one.name.endswith("_cents"):
            found[one.name.removesuffix("_cents")] = text_from_cents(held)
        elif isinstance(held, str):
            found[one.name] = held
        else:
            plain = canonical(held)
            found[one.name] = plain if isinstance(plain, str) else canonical_text(held)
    return found
