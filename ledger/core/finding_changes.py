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
    "opened", "changed", "cured", "passed", "withdrawn", "returned", "seen", "accepted", "released"
]
EVENT_KINDS: tuple[EventKind, ...] = (
    "opened",
    "changed",
    "cured",
    "passed",
    "withdrawn",
    "returned",
    "seen",
    "accepted",
    "released",
)


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
    for _, (rows, news) in sorted(groups.items()):
        found.extend(_group_changes(rows, news))
    # Closing rows come first, so that a new open row never meets an old open one.
    return tuple(sorted(found, key=lambda one: one.run.open))


def _group_changes(rows: list[Listed], runs: list[Run]) -> list[Change]:
    """Changes for one code and key."""
    pairs, rows_left, runs_left = _pairs(rows, runs)
    found = [change for row, run in pairs if (change := _paired(row, run)) is not None]
    found += [Change(None, run, _new_state(run), _new_events(run)) for run in runs_left]
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


def _ended(run: Run) -> FindingState:
    """How a run that no longer holds is filed."""
    return "closed" if run.life == "month" else "cured"


def _end_event(run: Run) -> EventKind:
    return "passed" if run.life == "month" else "cured"


def _new_state(run: Run) -> FindingState:
    return "open" if run.open else _ended(run)


def _new_events(run: Run) -> tuple[EventKind, ...]:
    return ("opened",) if run.open else ("opened", _end_event(run))


def _paired(row: Listed, run: Run) -> Change | None:
    """The change to a row whose run is still part of the history; None if nothing is new."""
    if row.run == run and row.state not in _WRONG[run.open]:
        return None
    if run.open and not row.run.open:
        return Change(row, run, "open", ("returned",))
    if not run.open and row.run.open:
        return Change(row, run, _ended(run), (_end_event(run),))
    state = _kept_state(row, run) if run.open else _ended(run)
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
    """Close a row whose trigger, by the corrected facts, never held."""
    if not row.run.open and row.state == "closed":
        return None
    closed = replace(row.run, open=False)
    return Change(row, closed, "closed", ("withdrawn",))
