"""The data folder's own book-keeping: passwords, ports, and one hand at a time."""

from __future__ import annotations

import contextlib
import fcntl
import os
import socket
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from config import environment
from config.processes import is_alive, pid_in, works_in

__all__ = [
    "LOOPBACK",
    "State",
    "is_alive",
    "locked",
    "make_data_folder",
    "pid_in",
    "port_taken",
    "works_in",
]

LOOPBACK = "127.0.0.1"


@dataclass
class State:
    """Ports and passwords of the servers of one data folder, kept in `services.env`."""

    folder: Path
    values: dict[str, str]

    @classmethod
    def read(cls, folder: Path) -> State:
        """What was remembered; nothing on first use."""
        return cls(folder, environment.read(folder / "services.env"))

    def save(self) -> None:
        """Remember, for the owner's eyes alone."""
        environment.write(self.folder / "services.env", self.values)

    def password(self, name: str) -> str:
        """The password of that name, made on first use."""
        if name not in self.values:
            self.values[name] = environment.new_secret()
            self.save()
        return self.values[name]

    def port(self, name: str) -> int:
        """The remembered port, or a free one that is remembered from now on."""
        if name not in self.values:
            self.new_port(name)
        return int(self.values[name])

    def new_port(self, name: str) -> int:
        """Choose another free port: someone else listens on the old one."""
        with socket.socket() as probe:
            probe.bind((LOOPBACK, 0))
            port = int(probe.getsockname()[1])
        self.values[name] = str(port)
        self.save()
        return port


def port_taken(port: int) -> bool:
    """Whether something already listens on the loopback port."""
    with socket.socket() as probe:
        probe.settimeout(1)
        return probe.connect_ex((LOOPBACK, port)) == 0


def make_data_folder() -> Path:
    """Create the data folder, closed to everyone else."""
    folder = environment.data_folder()
    fresh = not folder.exists()
    folder.mkdir(parents=True, exist_ok=True)
    if fresh:
        folder.chmod(0o700)
    return folder


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[None]:
    """One process at a time starts or stops the servers of a folder."""
    handle = os.open(folder / "lock", os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)
