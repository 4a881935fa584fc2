"""The states of one household's month, and the moves allowed between them.

The database enforces the set of states; this module says which moves exist,
how long a failed close waits, and when it is put aside for a person. It knows
no clock and no table, so that every rule is one line in a test.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Literal

ItemState = Literal["waiting", "pending", "running", "done", "failed", "parked", "superseded"]
CloseState = Literal["scheduled", "running", "complete", "complete_with_exceptions"]

ITEM_STATES: tuple[ItemState, ...] = (
    "waiting",
    "pending",
    "running",
    "done",
    "failed",
    "parked",
    "superseded",
)
CLOSE_STATES: tuple[CloseState, ...] = (
    "scheduled",
    "running",
    "complete",
    "complete_with_exceptions",
)
UNFINISHED: tuple[ItemState, ...] = ("waiting", "pending", "running", "failed")
"""A close with an item in one of these is not complete."""

MAX_ATTEMPTS = 5
STATEMENT_GRACE_DAYS = 10
"""A month waits this long after its last day for statements, then closes without."""

_BACKOFF_SECONDS = (30, 120, 480, 1920)

MOVES: dict[ItemState, frozenset[ItemState]] = {
    "waiting": frozenset({"pending", "running", "superseded"}),
    "pending": frozenset({"running", "waiting", "superseded"}),
    "running": frozenset({"running", "done", "failed", "parked", "pending", "superseded"}),
    "failed": frozenset({"running", "pending", "parked", "superseded"}),
    "parked": frozenset({"pending", "superseded"}),
    "done": frozenset({"superseded"}),
    "superseded": frozenset({"done"}),
}
"""`superseded` back to `done` happens when the facts return to what they were
before the newer version was computed: the same inputs are the same row."""


def may_move(old: ItemState, new: ItemState) -> bool:
    """Whether an item may go from `old` to `new`."""
    return new in MOVES[old]


def backoff_seconds(attempt: int) -> int:
    """Seconds a close that failed on its `attempt`-th try (from 1) waits for the next."""
    assert attempt >= 1, "attempts are counted from one"
    return _BACKOFF_SECONDS[min(attempt, len(_BACKOFF_SECONDS)) - 1]


def state_after_failure(attempt: int, *, lasting: bool, max_attempts: int) -> ItemState:
    """`failed` while another try may help, `parked` when a person must look.

    `lasting` is a fault of the data: trying again gives the same fault.
    """
    assert attempt >= 1, "attempts are counted from one"
    return "parked" if lasting or attempt >= max_attempts else "failed"


def close_state(counts: dict[ItemState, int]) -> CloseState:
    """The state of a firm's month from the number of its current items by state."""
    if any(counts.get(state, 0) for state in UNFINISHED):
        started = any(counts.get(state, 0) for state in ("running", "done", "failed", "parked"))
        return "running" if started else "scheduled"
    return "complete_with_exceptions" if counts.get("parked", 0) else "complete"


def waits_until(month_end: date) -> date:
    """The last day a month waits for its statements."""
    return month_end + timedelta(days=STATEMENT_GRACE_DAYS)
