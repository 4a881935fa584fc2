"""A database and a broker of our own, for a machine that was given neither.

They run beside whatever the machine has: own data, own passwords, own ports on
the loopback address. `DATABASE_URL` and `REDIS_URL` switch the one or the
other off. Runs in the project's environment (psycopg and redis installed).
"""

from __future__ import annotations

import os

from config import environment
from config.embedded import broker, postgres
from config.embedded.folder import State, locked, make_data_folder
from config.embedded.postgres import Refused

__all__ = ["Refused", "ensure_running", "installed", "prepare", "stop", "wants"]


def wants() -> tuple[bool, bool]:
    """Whether the database and the broker are ours to run: nobody named another."""
    own = environment.read(environment.embedded_file())
    return tuple(  # type: ignore[return-value]
        os.environ.get(name, own.get(name, "")) == own.get(name, "")
        for name in (environment.OWNER_URL, environment.BROKER_URL)
    )


def installed() -> bool:
    """Whether `prepare` has ever run here: only then may a command start the servers."""
    return environment.embedded_file().exists()


def prepare(*, own_database: bool, own_broker: bool) -> dict[str, str]:
    """Start what is ours, with its roles and database; write and return the variables.

    Safe to call again at any time. Raises `Refused` with a remedy when this
    machine does not allow it.
    """
    folder = make_data_folder()
    with locked(folder):
        state = State.read(folder)
        stored = environment.read(environment.embedded_file())
        values = {name: stored[name] for name in stored if name != environment.SECRET_KEY}
        values[environment.SECRET_KEY] = stored.get(
            environment.SECRET_KEY, environment.new_secret() + environment.new_secret()
        )
        if own_database:
            postgres.ensure(state)
            postgres.ensure_database(state)
            values[environment.OWNER_URL] = postgres.owner_url(state)
            values[environment.APP_URL] = postgres.app_url(state)
        if own_broker:
            broker.ensure(state)
            values[environment.BROKER_URL] = broker.url(state)
        if values != stored:
            environment.write(environment.embedded_file(), values)
    return values


def ensure_running() -> None:
    """Start the servers of an installation that was prepared before, if they are down.

    Costs about a millisecond when they are up. Does nothing before the first
    `prepare`, and nothing about a server that the environment names.
    """
    if not installed():
        return
    stored = environment.read(environment.embedded_file())
    own_database, own_broker = wants()
    own_database = own_database and environment.OWNER_URL in stored
    own_broker = own_broker and environment.BROKER_URL in stored
    folder = environment.data_folder()
    state = State.read(folder)
    database_down = own_database and not postgres.is_running(state)
    broker_down = own_broker and not broker.is_running(state)
    if database_down or broker_down:
        prepare(own_database=own_database, own_broker=own_broker)


def stop() -> tuple[str, ...]:
    """Stop both servers if they run; the names of those that were stopped."""
    if not environment.data_folder().exists():
        return ()
    folder = environment.data_folder()
    with locked(folder):
        state = State.read(folder)
        stopped = [("broker", broker.stop(state)), ("database", postgres.stop(state))]
    return tuple(name for name, was_running in stopped if was_running)
