"""Named fault points: places where a test may end the process, exactly.

A crash test that only kills at random proves little about the step it never
hit. Each step of a durable act therefore names itself with
`fault_point("close.claimed")`. In ordinary running the call costs one
dictionary look-up of nothing. With `TOWPATH_FAULT=close.claimed:3` in the
environment the process ends, without unwinding, the third time it passes that
point: no `finally`, no rollback sent, no buffers flushed, as in a power cut.
"""

from __future__ import annotations

import os

EXIT_CODE = 9
"""What the process reports when it ended at a fault point."""

_seen: dict[str, int] = {}


def _armed() -> tuple[str, int] | None:
    """The point and pass named by the environment, or None."""
    text = os.environ.get("TOWPATH_FAULT", "")
    if not text:
        return None
    name, _, count = text.partition(":")
    return name, int(count or "1")


_ARMED = _armed()


def fault_point(name: str) -> None:
    """Pass the step `name`; end the process here when the environment says so."""
    if _ARMED is None:
        return
    armed_name, armed_pass = _ARMED
    if name != armed_name:
        return
    _seen[name] = _seen.get(name, 0) + 1
    if _seen[name] == armed_pass:
        os._exit(EXIT_CODE)
