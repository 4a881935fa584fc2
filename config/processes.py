"""Processes noted in files: read, recognised, ended. Needs nothing but Python itself."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

SECONDS_TO_END = 60.0
# The database's SIGINT rolls open transactions back and ends; the others end on SIGTERM.
_PLACES = (
    ("desk", "serve.pid", None, signal.SIGTERM),
    ("broker", "broker/pid", "broker", signal.SIGTERM),
    ("database", "postgres/postmaster.pid", "postgres", signal.SIGINT),
)


def pid_in(file: Path) -> int | None:
    """The process number on the first line of a file; None when there is none."""
    try:
        return int(file.read_text("ascii").split("\n", 1)[0])
    except (FileNotFoundError, PermissionError, ValueError):
        return None


def works_in(pid: int, folder: Path) -> bool:
    """Whether the process lives and works in that folder: a reused number does not.

    Where the system shows no working folders (no /proc), a living process is
    believed and the login decides.
    """
    if not Path("/proc/self/cwd").exists():
        return is_alive(pid)
    try:
        return Path(f"/proc/{pid}/cwd").resolve(strict=True) == folder.resolve()
    except (FileNotFoundError, PermissionError):
        return False


def is_alive(pid: int) -> bool:
    """Whether any process bears that number."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def running(folder: Path, root: Path) -> dict[str, int]:
    """What runs for a data folder, by name, with its process: desk, broker, database."""
    found = {}
    for name, file, home, _ in _PLACES:
        pid = pid_in(folder / file)
        if pid is not None and works_in(pid, root if home is None else folder / home):
            found[name] = pid
    return found


def end(folder: Path, root: Path) -> tuple[str, ...]:
    """End what runs for a data folder, the desk first; the names of what has ended."""
    ended = []
    for name, _, _, how in _PLACES:
        pid = running(folder, root).get(name)
        if pid is None:
            continue
        os.kill(pid, how)
        until = time.monotonic() + SECONDS_TO_END
        while running(folder, root).get(name) == pid and time.monotonic() < until:
            time.sleep(0.05)
        if running(folder, root).get(name) != pid:
            ended.append(name)
    return tuple(ended)
