"""A database and broker of our own: made, recognised, and back after every accident."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import stat
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
import redis
from psycopg.conninfo import make_conninfo
from redis.backoff import NoBackoff
from redis.retry import Retry

from config import embedded, environment
from config.database import roles
from config.embedded import broker, folder, postgres

CLEARED = (environment.OWNER_URL, environment.APP_URL, environment.BROKER_URL)


@pytest.fixture(scope="module")
def data() -> Iterator[Path]:
    """A data folder where the server's user can get to."""
    place = Path(tempfile.mkdtemp(prefix="towpath-test-", dir="/var/tmp"))
    place.chmod(0o711)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TOWPATH_DATA", str(place / "data"))
        for name in CLEARED:
            patch.delenv(name, raising=False)
        yield place / "data"
        embedded.stop()
    shutil.rmtree(place)


@pytest.fixture
def values(data: Path) -> dict[str, str]:
    """The variables of running servers."""
    return embedded.prepare(own_database=True, own_broker=True)


def state(data: Path) -> folder.State:
    return folder.State.read(data)


def ask(url: str, question: str) -> object:
    with psycopg.connect(url) as connection:
        row = connection.execute(question).fetchone()
    assert row is not None
    return row[0]


def kill(pid_file: Path) -> None:
    """End a process as a power cut would, and wait until it is gone."""
    pid = folder.pid_in(pid_file)
    assert pid is not None
    os.kill(pid, signal.SIGKILL)
    until = time.monotonic() + 10
    while Path(f"/proc/{pid}/exe").exists() and time.monotonic() < until:
        broker._reap(pid)
        time.sleep(0.02)


def test_the_application_logs_in_as_a_role_that_owns_nothing(values: dict[str, str]):
    app = values[environment.APP_URL]
    assert ask(app, "SELECT current_user") == "towpath_app"
    with psycopg.connect(app) as connection:
        assert roles.weaknesses(connection) == ()
    with pytest.raises(psycopg.errors.InsufficientPrivilege):
        ask(app, "CREATE TABLE mine (id int)")


def test_the_owner_is_no_superuser_and_pages_carry_checksums(values: dict[str, str]):
    owner = values[environment.OWNER_URL]
    query = "SELECT rolsuper FROM pg_roles WHERE rolname = current_user"
    assert ask(owner, query) is False
    assert ask(owner, "SHOW data_checksums") == "on"
    assert ask(owner, "SHOW fsync") == "on"


def test_nobody_enters_without_the_password(values: dict[str, str]):
    wrong = make_conninfo(values[environment.OWNER_URL], password="guessed")
    with pytest.raises(psycopg.OperationalError, match="password authentication failed"):
        psycopg.connect(wrong)
    port = int(values[environment.BROKER_URL].rsplit(":", 1)[1].split("/")[0])
    with pytest.raises(redis.AuthenticationError):
        redis.Redis(port=port, retry=Retry(NoBackoff(), 0)).ping()


def test_the_broker_refuses_rather_than_forgets(values: dict[str, str]):
    client = redis.Redis.from_url(values[environment.BROKER_URL])
    assert client.config_get("maxmemory-policy") == {"maxmemory-policy": "noeviction"}


def test_a_second_start_changes_nothing(values: dict[str, str], data: Path):
    before = folder.pid_in(postgres.cluster(state(data)) / "postmaster.pid")
    assert embedded.prepare(own_database=True, own_broker=True) == values
    assert folder.pid_in(postgres.cluster(state(data)) / "postmaster.pid") == before


def test_the_data_survives_a_stop(values: dict[str, str]):
    with psycopg.connect(values[environment.OWNER_URL]) as connection:
        connection.execute("CREATE TABLE kept AS SELECT 7 AS n")
    assert embedded.stop() == ("broker", "database")
    assert embedded.stop() == ()
    embedded.ensure_running()
    assert ask(values[environment.OWNER_URL], "SELECT n FROM kept") == 7


def test_both_come_back_after_being_killed(values: dict[str, str], data: Path):
    kill(postgres.cluster(state(data)) / "postmaster.pid")
    kill(broker.folder_of(state(data)) / "pid")
    embedded.ensure_running()
    again = environment.read(environment.embedded_file())
    assert ask(again[environment.APP_URL], "SELECT 1") == 1
    assert redis.Redis.from_url(again[environment.BROKER_URL]).ping()


def test_a_stale_number_of_a_living_stranger_is_not_believed(values: dict[str, str], data: Path):
    embedded.stop()
    for file in (
        postgres.cluster(state(data)) / "postmaster.pid",
        broker.folder_of(state(data)) / "pid",
    ):
        file.write_text(f"{os.getpid()}\n", "ascii")
    assert not postgres.is_running(state(data))
    assert not broker.is_running(state(data))
    embedded.ensure_running()
    assert ask(values[environment.APP_URL], "SELECT 1") == 1


def test_a_port_taken_by_a_stranger_is_given_up(values: dict[str, str], data: Path):
    embedded.stop()
    old = state(data).port(postgres.PORT)
    with socket.socket() as stranger:
        stranger.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        stranger.bind((folder.LOOPBACK, old))
        stranger.listen()
        again = embedded.prepare(own_database=True, own_broker=True)
        assert state(data).port(postgres.PORT) != old
        assert ask(again[environment.APP_URL], "SELECT 1") == 1


def test_files_with_passwords_are_closed(values: dict[str, str], data: Path):
    for name in ("services.env", "towpath.env", "broker/broker.conf"):
        assert stat.S_IMODE((data / name).stat().st_mode) == 0o600, name
    assert stat.S_IMODE(data.stat().st_mode) & 0o007 == 0
    assert stat.S_IMODE(postgres.cluster(state(data)).stat().st_mode) == 0o700


def test_a_cluster_of_another_version_is_refused_with_a_remedy(values: dict[str, str], data: Path):
    embedded.stop()
    version = postgres.cluster(state(data)) / "PG_VERSION"
    before = version.read_text("ascii")
    version.write_text("9\n", "ascii")
    try:
        with pytest.raises(embedded.Refused, match="made by PostgreSQL 9"):
            embedded.prepare(own_database=True, own_broker=False)
    finally:
        version.write_text(before, "ascii")


@pytest.mark.skipif(os.geteuid() != 0, reason="only root hands the server to another user")
def test_a_closed_parent_is_refused_rather_than_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o700)
    monkeypatch.setenv("TOWPATH_DATA", str(closed / "data"))
    with pytest.raises(embedded.Refused, match="TOWPATH_DATA"):
        embedded.prepare(own_database=True, own_broker=False)
    assert stat.S_IMODE(closed.stat().st_mode) == 0o700
