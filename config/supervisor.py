"""Web server, worker and scheduler under one roof: started together, ended together.

Small on purpose: it is for one machine. Larger installations give each of the
three to their own service manager, see docker-compose.yml.
"""

from __future__ import annotations

import contextlib
import ctypes
import http.client
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

ROOT = Path(__file__).resolve().parent.parent
GRACE_SECONDS = 40  # above the worker's soft shutdown
SHORTEST_LIFE_SECONDS = 5
PARENT_DEATH_SIGNAL = 1  # prctl's PR_SET_PDEATHSIG
QUEUES = "close,pdf,mail,parse,tick"
# A close of a large book may compute and write for minutes; a page may not.
WORKER_LIMITS = {"TOWPATH_STATEMENT_TIMEOUT": "300s", "TOWPATH_IDLE_TIMEOUT": "600s"}


class Interrupted(Exception):  # noqa: N818 - not an error: somebody asked us to end
    """A signal asked the supervisor to end."""


@dataclass
class Program:
    """One program to keep running: its words, its extra variables, its process."""

    name: str
    command: tuple[str, ...]
    extra: Mapping[str, str] = field(default_factory=dict)
    process: subprocess.Popen[bytes] | None = None
    started_at: float = 0.0

    def start(self) -> None:
        """Start it in a session of its own, to end with us even if we are killed."""
        self.started_at = time.monotonic()
        self.process = subprocess.Popen(
            self.command,
            cwd=ROOT,
            env={**os.environ, **self.extra},
            stdin=subprocess.DEVNULL,
            start_new_session=True,
            # This process has no threads, which is what makes the call safe.
            preexec_fn=_end_with_parent if sys.platform == "linux" else None,  # noqa: PLW1509
        )

    def ended(self) -> int | None:
        """The exit code, or None while it runs."""
        return None if self.process is None else self.process.poll()


def _end_with_parent() -> None:
    ctypes.CDLL(None).prctl(PARENT_DEATH_SIGNAL, signal.SIGTERM)


def web(port: int, host: str = "127.0.0.1") -> Program:
    """The web server: two processes of two threads."""
    return Program(
        "web",
        (
            *(sys.executable, "-m", "gunicorn", "config.wsgi:application"),
            *("--bind", f"{host}:{port}", "--worker-class", "gthread"),
            *("--workers", "2", "--threads", "2", "--no-control-socket"),
            *("--log-level", "warning", "--graceful-timeout", "15"),
        ),
    )


def worker() -> Program:
    """The worker for all queues, two tasks at a time."""
    return Program(
        "worker",
        (
            *(sys.executable, "-m", "celery", "--app", "config.celery", "--quiet", "worker"),
            *("--queues", QUEUES, "--concurrency", "2", "--loglevel", "warning"),
            *("--without-gossip", "--without-mingle"),
        ),
        WORKER_LIMITS,
    )


def beat() -> Program:
    """The scheduler; one is enough, two do no harm."""
    return Program(
        "beat",
        (
            *(sys.executable, "-m", "celery", "--app", "config.celery", "--quiet", "beat"),
            *("--loglevel", "warning"),
        ),
    )


def stop_all(programs: list[Program]) -> None:
    """Ask all to end, wait for them, then insist."""
    running = [program for program in programs if program.process and program.ended() is None]
    for program in running:
        _signal(program, signal.SIGTERM)
    until = time.monotonic() + GRACE_SECONDS
    try:
        while any(program.ended() is None for program in running) and time.monotonic() < until:
            time.sleep(0.05)
    except (KeyboardInterrupt, Interrupted):
        print("ending at once", flush=True)
    for program in running:
        if program.ended() is None:
            _signal(program, signal.SIGKILL)
            assert program.process is not None
            program.process.wait()


def _signal(program: Program, number: int) -> None:
    """Signal the program, or with SIGKILL the whole session it leads."""
    assert program.process is not None
    with contextlib.suppress(ProcessLookupError):
        if number == signal.SIGKILL:
            os.killpg(program.process.pid, number)
        else:
            program.process.send_signal(number)


@contextlib.contextmanager
def running(*programs: Program) -> Iterator[list[Program]]:
    """The programs for the length of a block."""
    started = list(programs)
    try:
        for program in started:
            program.start()
        yield started
    finally:
        stop_all(started)


def keep(programs: list[Program]) -> int:
    """Watch until a signal comes; start again what fell over; the exit code.

    A program that ends within seconds of its start would only fall over again:
    then everything ends and its code is ours.
    """

    def end(_number: int, _frame: FrameType | None) -> None:
        raise Interrupted

    for number in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, end)
    try:
        while True:
            time.sleep(0.5)
            for program in programs:
                code = program.ended()
                if code is None:
                    continue
                lived = time.monotonic() - program.started_at
                if lived < SHORTEST_LIFE_SECONDS:
                    print(f"{program.name} ended with code {code} at its start", flush=True)
                    return code or 1
                print(f"{program.name} ended with code {code}; starting it again", flush=True)
                program.start()
    except (KeyboardInterrupt, Interrupted):
        return 0


def wait_for_web(port: int, program: Program, seconds: float = 30) -> bool:
    """Whether the web server answered, with whatever status, before it ended or time ran out."""
    until = time.monotonic() + seconds
    while time.monotonic() < until and program.ended() is None:
        asked = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
        try:
            asked.request("GET", "/")
            asked.getresponse()
        except (OSError, http.client.HTTPException):
            time.sleep(0.1)
        else:
            return True
        finally:
            asked.close()
    return False
