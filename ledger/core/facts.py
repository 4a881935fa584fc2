"""The facts of a household in the order they count, and what is wrong with them.

By date; on one date the lines first (in listing order, then the statement's
sequence), then the investment accounts likewise. What statements imply without
showing it becomes an entry of its own: the opening of a line's first statement,
a gap between one statement's closing and the next one's opening, a break
between a statement's entries and its closing.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby, pairwise

from config.problems import Problem
from planning.core.types import Entry, Household, Split, Statement

_DATED = re.compile(r"-(gap|break)-\d{4}-\d{2}-\d{2}\Z")
DRAW_KINDS = ("draw", "fee", "opening", "adjustment")


@dataclass(frozen=True, slots=True)
class Fact:
    """One entry of one account. `amount` of an adjustment is signed."""

    on: date
    account: str
    of_line: bool
    entry: Entry
    statement: Statement

    @classmethod
    def on_line(cls, ref: str, entry: Entry, statement: Statement) -> Fact:
        """A fact of a line."""
        return cls(entry.date, ref, of_line=True, entry=entry, statement=statement)

    @property
    def amount(self) -> int:
        """Cents; negative only for an adjustment that lowers the balance."""
        return self.entry.amount_cents


def household_facts(household: Household) -> tuple[Fact, ...]:
    """Every fact of lines and investment accounts, in order of facts."""
    keyed: list[tuple[date, int, int, int, Fact]] = []
    for index, line in enumerate(household.lines):
        for sequence, fact in enumerate(_line_facts(household, line.ref)):
            keyed.append((fact.on, 0, index, sequence, fact))
    for index, account in enumerate(household.investments):
        sequence = 0
        for statement in household.statements_of(account.ref):
            for entry in sorted(statement.entries, key=lambda one: one.date):
                fact = Fact(
                    entry.date, account.ref, of_line=False, entry=entry, statement=statement
                )
                keyed.append((entry.date, 1, index, sequence, fact))
                sequence += 1
    keyed.sort(key=lambda one: one[:4])
    uses = {one.draw: one.splits for one in household.uses}
    ordered: list[Fact] = []
    for _, day in groupby((one[4] for one in keyed), key=lambda fact: fact.on):
        ordered += _repayments_after_their_draws(list(day), uses)
    return tuple(ordered)


def _line_facts(household: Household, ref: str) -> Iterator[Fact]:
    before: Statement | None = None
    for statement in household.statements_of(ref):
        starts, ends = statement.starts, statement.ends
        opening = statement.opening_cents
        if before is None and opening:
            # A credit at the start is the household's own money: an adjustment below zero.
            kind = "opening" if opening > 0 else "adjustment"
            yield Fact.on_line(ref, Entry(f"{ref}-opening", starts, kind, opening), statement)
        elif before is not None and opening != before.closing_cents:
            gap = Entry(f"{ref}-gap-{starts}", starts, "adjustment", opening - before.closing_cents)
            yield Fact.on_line(ref, gap, statement)
        running = opening
        for entry in sorted(statement.entries, key=lambda one: one.date):
            running += -entry.amount_cents if entry.kind == "repayment" else entry.amount_cents
            yield Fact.on_line(ref, entry, statement)
        if running != statement.closing_cents:
            missing = statement.closing_cents - running
            entry = Entry(f"{ref}-break-{ends}", ends, "adjustment", missing)
            yield Fact.on_line(ref, entry, statement)
        before = statement


def _repayments_after_their_draws(
    day: list[Fact], uses: dict[str, tuple[Split, ...]]
) -> list[Fact]:
    """A repayment waits for same-day draws of other lines that pay its line off.

    It is played right after the last of them; every other fact keeps its place.
    """
    awaited: Counter[str] = Counter()
    for fact in day:
        awaited.update(_lines_paid_by(fact, uses))
    if not awaited:
        return day
    ordered: list[Fact] = []
    waiting: dict[str, list[Fact]] = {}
    for fact in day:
        if fact.of_line and fact.entry.kind == "repayment" and awaited[fact.account] > 0:
            waiting.setdefault(fact.account, []).append(fact)
            continue
        ordered.append(fact)
        for line in _lines_paid_by(fact, uses):
            awaited[line] -= 1
            if awaited[line] == 0:
                ordered += waiting.pop(line, [])
    return ordered


def _lines_paid_by(fact: Fact, uses: dict[str, tuple[Split, ...]]) -> list[str]:
    """The other lines whose interest or principal a draw pays, each once."""
    if not fact.of_line or fact.entry.kind == "repayment":
        return []
    named = (
        split.to
        for split in uses.get(fact.entry.id, ())
        if split.use in ("line-interest", "refinance")
    )
    return list(dict.fromkeys(ref for ref in named if ref and ref != fact.account))


def facts_problems(household: Household, file: str) -> tuple[tuple[Problem, ...], tuple[str, ...]]:
    """What is wrong between entries, uses and sources: (problems, warnings)."""
    problems = [*_repeated_ids(household, file)]
    warnings: list[str] = []
    amounts = {
        fact.entry.id: fact
        for fact in household_facts(household)
        if fact.of_line and fact.entry.kind in DRAW_KINDS
    }
    known = {entry.id for one in household.statements for entry in one.entries} | set(amounts)
    lines = [one.ref for one in household.lines]
    missing = _first_missing(household, lines)
    missing_any = _first_missing(household, [*lines, *(one.ref for one in household.investments)])
    for index, use in enumerate(household.uses):
        fact = amounts.get(use.draw)
        where = f"uses[{index}].draw"
        if fact is None and not _implied_id(household, use.draw):
            text = f"there is no draw {use.draw!r} on file"
            if missing is not None and use.draw not in known:
                warnings.append(f"{file}: {where}: {text}; a statement is missing")
            else:
                problems.append(Problem(file, where, text, "Name a draw, fee or opening of a line"))
        claimed = sum(split.amount_cents for split in use.splits)
        if fact is not None and claimed > max(0, fact.amount):
            problems.append(
                Problem(
                    file,
                    f"uses[{index}].splits",
                    "the splits add up to more than the draw",
                    "Lower a split; what is left out counts as unsupported",
                )
            )
        for number, split in enumerate(use.splits):
            problems += _split_problems(household, file, f"uses[{index}].splits[{number}]", split)
    for s, statement in enumerate(household.statements):
        for e, entry in enumerate(statement.entries):
            if entry.source in (None, "own") or entry.source in known:
                continue
            where = f"statements[{s}].entries[{e}].from"
            text = f"there is no entry {entry.source!r} on file"
            unseen = missing_any is not None and missing_any <= entry.date
            if unseen or _implied_id(household, entry.source or ""):
                warnings.append(f"{file}: {where}: {text}; a statement is missing")
            else:
                problems.append(Problem(file, where, text, 'Name the draw, or write "own"'))
    return tuple(problems), tuple(warnings)


def _repeated_ids(household: Household, file: str) -> Iterator[Problem]:
    seen = Counter(entry.id for one in household.statements for entry in one.entries)
    for s, statement in enumerate(household.statements):
        for e, entry in enumerate(statement.entries):
            if seen[entry.id] > 1:
                yield Problem(
                    file,
                    f"statements[{s}].entries[{e}].id",
                    f"the id {entry.id!r} is used {seen[entry.id]} times",
                    "Give every entry of the household its own id",
                )
            elif _implied_id(household, entry.id):
                yield Problem(
                    file,
                    f"statements[{s}].entries[{e}].id",
                    f"the id {entry.id!r} is reserved for what a statement implies",
                    "Choose another id",
                )


def _implied_id(household: Household, name: str) -> bool:
    """Whether a name is one that statements imply: LINE-opening, LINE-gap-DATE, LINE-break-DATE."""
    return any(
        name == f"{one.ref}-opening"
        or (name.startswith((f"{one.ref}-gap-", f"{one.ref}-break-")) and _DATED.search(name))
        for one in household.lines
    )


def _first_missing(household: Household, accounts: list[str]) -> date | None:
    """The first day some account has no statement for, after its first one; None if all have.

    Counted up to the latest statement of any account. An account that never
    had a statement misses none, unless none of these ever had one.
    """
    latest = max((one.ends for one in household.statements), default=None)
    found: list[date] = []
    for ref in accounts:
        statements = household.statements_of(ref)
        found += [
            one.ends + timedelta(days=1)
            for one, two in pairwise(statements)
            if (two.starts - one.ends).days > 1
        ]
        if statements and latest is not None and statements[-1].ends < latest:
            found.append(statements[-1].ends + timedelta(days=1))
    if household.statements and not any(household.statements_of(ref) for ref in accounts):
        return min(one.starts for one in household.statements)
    return min(found, default=None)


def _split_problems(household: Household, file: str, where: str, split: Split) -> list[Problem]:
    accounts = {one.ref for one in household.investments}
    lines = {one.ref for one in household.lines}
    found: list[Problem] = []
    if split.use == "income-investment" and split.to not in accounts:
        known = ", ".join(sorted(accounts)) or "(none)"
        text = "an investment draw names the account it went to"
        if split.to is not None:
            text = f"there is no investment account {split.to!r}"
        found.append(Problem(file, f"{where}.to", text, f"Name one of: {known}"))
    elif split.use == "refinance" and split.to not in lines:
        text = "a refinance names the line it paid off"
        found.append(Problem(file, f"{where}.to", text, f"Name one of: {', '.join(sorted(lines))}"))
    elif split.use == "line-interest" and split.to is not None and split.to not in lines:
        text = f"there is no line {split.to!r}"
        found.append(Problem(file, f"{where}.to", text, f"Name one of: {', '.join(sorted(lines))}"))
    elif split.to is not None and split.to not in accounts | lines:
        text = f"there is no account {split.to!r}"
        found.append(Problem(file, f"{where}.to", text, "Name an account of the household"))
    return found
