"""What the newest close does to the findings already on the list.

A close yields every run of every trigger since the household's first
statement: (code, key, first month, last month, still open). The list on the
desk is those runs plus what people did with them. This module pairs the two
and says which rows are new, which changed, which ended and which never really
were, because the facts behind them were corrected. Nothing is removed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

FindingState = Literal["open", "seen", "accepted", "cured", "closed"]
FINDING_STATES: tuple[FindingState, ...] = ("open", "seen", "accepted", "cured", "closed")
SEVERITIES = ("note", "paper", "fix", "act")
"""From the lightest to the gravest."""
EventKind = Literal[
    "opened",
    "changed",
    "cured",
    "mended",
    "passed",
    "withdrawn",
    "returned",
    "seen",
    "accepted",
    "released",
    "expired",
    "assigned",
    "unassigned",
    "noted",
]
EVENT_KINDS: tuple[EventKind, ...] = (
    "opened",
    "changed",
    "cured",
    "mended",
    "passed",
    "withdrawn",
    "returned",
    "seen",
    "accepted",
    "released",
    "expired",
    "assigned",
    "unassigned",
    "noted",
)
"""Of a close: opened, changed, returned; cured (its trigger stopped), mended (the
missing paper or term was put on file), passed (its month or year is over),
withdrawn (by the corrected facts it never was). Of people: seen, accepted,
released (put back), assigned, unassigned, noted; expired is an acceptance whose
last day is over."""

_MENDED_BY_FILING = ("renewal-due", "renewal-passed", "owner-mismatch")
_ENDS_WITH_ITS_YEAR = ("prepayment-over-privilege",)


@dataclass(frozen=True, slots=True)
class Run:
    """One unbroken run of closes at which a trigger held, as the newest close sees it.

    `detail` is canonical JSON of evidence and remedy: carried, not judged.
    """

    code: str
    key: str
    first: str
    last: str
    open: bool
    dollars_cents: int
    cost_per_year_cents: int
    severity: str
    life: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Listed:
    """A finding already on the list, with what people decided about it."""

    id: str
    run: Run
    state: FindingState


@dataclass(frozen=True, slots=True)
class Change:
    """One row to write: `listed` None for a new one; `events` in the order they happened."""

    listed: Listed | None
    run: Run
    state: FindingState
    events: tuple[EventKind, ...]


def changes(listed: tuple[Listed, ...], runs: tuple[Run, ...]) -> tuple[Change, ...]:
    """The rows to write so that the list says what `runs` says.

    Runs and rows of one code and key are paired by first month, then the open
    run with the open row (a correction moved its beginning, a person's
    decision stays), then in order of time. Rows left over are withdrawn.
    """
    found: list[Change] = []
    groups: dict[tuple[str, str], tuple[list[Listed], list[Run]]] = {}
    for row in listed:
        groups.setdefault((row.run.code, row.run.key), ([], []))[0].append(row)
    for run in runs:
        groups.setdefault((run.code, run.key), ([], []))[1].append(run)
    passed_terms = frozenset(one.key for one in runs if one.code == "renewal-passed")
    for _, (rows, news) in sorted(groups.items()):
        found.extend(_group_changes(rows, news, passed_terms))
    # Closing rows come first, so that a new open row never meets an old open one.
    return tuple(sorted(found, key=lambda one: one.run.open))


def _group_changes(
    rows: list[Listed], runs: list[Run], passed_terms: frozenset[str]
) -> list[Change]:
    """Changes for one code and key; `passed_terms` are the keys of terms that ran out."""
    pairs, rows_left, runs_left = _pairs(rows, runs)
    found = [change for row, run in pairs if (change := _paired(row, run, passed_terms))]
    found += [_opened(run, passed_terms) for run in runs_left]
    found += [change for row in rows_left if (change := _withdrawn(row)) is not None]
    return found


def _pairs(
    rows: list[Listed], runs: list[Run]
) -> tuple[list[tuple[Listed, Run]], list[Listed], list[Run]]:
    """Rows with their runs, and what found no partner."""
    rows_left = sorted(rows, key=lambda one: one.run.first)
    runs_left = sorted(runs, key=lambda one: one.first)
    pairs: list[tuple[Listed, Run]] = []

    def take(row: Listed, run: Run) -> None:
        pairs.append((row, run))
        rows_left.remove(row)
        runs_left.remove(run)

    by_first = {run.first: run for run in runs_left}
    for row in list(rows_left):
        if row.run.first in by_first:
            take(row, by_first[row.run.first])
    for row in [one for one in rows_left if one.run.open]:
        for run in [one for one in runs_left if one.open]:
            take(row, run)
    for row, run in list(zip(rows_left, runs_left, strict=False)):
        take(row, run)
    return pairs, rows_left, runs_left


def _by_itself(run: Run, passed_terms: frozenset[str]) -> bool:
    """Whether a run that no longer holds ended by the calendar, with nobody's help.

    A finding of one month passes with it, one of a year with the year; a renewal
    that was due passes when the term ran out instead of being renewed.
    """
    if run.life == "month" or run.code in _ENDS_WITH_ITS_YEAR:
        return True
    return run.code == "renewal-due" and run.key in passed_terms


def _end(run: Run, passed_terms: frozenset[str]) -> tuple[FindingState, EventKind]:
    """How a run that no longer holds is filed, and the event that says so."""
    return ("closed", "passed") if _by_itself(run, passed_terms) else ("cured", "cured")


def _opened(run: Run, passed_terms: frozenset[str]) -> Change:
    """The row of a run that is new to the list; it may be over already."""
    if run.open:
        return Change(None, run, "open", ("opened",))
    state, event = _end(run, passed_terms)
    return Change(None, run, state, ("opened", event))


def _paired(row: Listed, run: Run, passed_terms: frozenset[str]) -> Change | None:
    """The change to a row whose run is still part of the history; None if nothing is new."""
    if row.run == run and row.state not in _WRONG[run.open]:
        return None
    if run.open and not row.run.open:
        return Change(row, run, "open", ("returned",))
    ended, event = _end(run, passed_terms)
    if not run.open and row.run.open:
        return Change(row, run, ended, (event,))
    state = _kept_state(row, run) if run.open else ended
    return Change(row, run, state, ("changed",) if _worth_telling(row.run, run) else ())


def _kept_state(row: Listed, run: Run) -> FindingState:
    """A person's decision stands, until the finding grows graver than what they decided on."""
    graver = SEVERITIES.index(run.severity) > SEVERITIES.index(row.run.severity)
    return "open" if graver else row.state


_WRONG: dict[bool, frozenset[FindingState]] = {
    True: frozenset({"cured", "closed"}),
    False: frozenset({"open", "seen", "accepted"}),
}


def _worth_telling(old: Run, new: Run) -> bool:
    """A run that merely lasted another month is no event; new dollars are."""
    return (old.first, old.dollars_cents, old.severity) != (
        new.first,
        new.dollars_cents,
        new.severity,
    )


def _withdrawn(row: Listed) -> Change | None:
    """File a row whose trigger, by the facts as they now are, never held.

    Papers, terms and explanations carry no date in the household's file, so
    putting a missing one on file takes the finding out of the history: that is
    its cure. Anything else that vanishes was never so.
    """
    filed = row.run.life == "fact" or row.run.code in _MENDED_BY_FILING
    state, event = _FILED if filed else _NEVER_SO
    if not row.run.open and row.state in ("closed", state):
        return None
    return Change(row, replace(row.run, open=False), state, (event,))


_FILED: tuple[FindingState, EventKind] = ("cured", "mended")
_NEVER_SO: tuple[FindingState, EventKind] = ("closed", "withdrawn")
