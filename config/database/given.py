"""A database that was given from outside: see that the application has its own role there."""

from __future__ import annotations

import os
import sys
from urllib.parse import quote, unquote, urlsplit, urlunsplit

import psycopg

from config import environment
from config.database import roles
from config.database.roles import RoleRefusedError


def prepare(owner_url: str) -> str:
    """Create or recognise the application's role; the role's address, also remembered.

    With `TOWPATH_APP_DATABASE_URL` set, the role is made with that address's
    password and nothing is written. Raises `RoleRefusedError` with the remedy.
    """
    named = os.environ.get(environment.APP_URL, "")
    app_url = named or _remembered(owner_url) or _address(owner_url)
    with _connect(owner_url, environment.OWNER_URL) as owner:
        if not _can_log_in(app_url):
            _see_to_role(owner, app_url)
        roles.grant_database(owner, urlsplit(app_url).username or roles.APP_ROLE)
    _check_bound(app_url)
    if not named:
        record = {
            environment.FINGERPRINT: environment.fingerprint(owner_url),
            environment.APP_URL: app_url,
        }
        environment.write(environment.given_file(), record)
    return app_url


def _remembered(owner_url: str) -> str:
    """The address made for this very database before; empty when there is none."""
    stored = environment.read(environment.given_file())
    known = stored.get(environment.FINGERPRINT) == environment.fingerprint(owner_url)
    return stored.get(environment.APP_URL, "") if known else ""


def _connect(url: str, variable: str) -> psycopg.Connection:
    """A connection, or the variable that led nowhere."""
    try:
        return psycopg.connect(url, autocommit=True, connect_timeout=10)
    except psycopg.OperationalError as failed:
        message = f"The database in {variable} does not let us in: {failed}"
        raise RoleRefusedError(message) from failed


def _address(owner_url: str) -> str:
    """The owner's address with the application's role and a new password."""
    parts = urlsplit(owner_url)
    place = parts.netloc.rpartition("@")[2]
    login = f"{roles.APP_ROLE}:{quote(environment.new_secret())}"
    return urlunsplit(parts._replace(netloc=f"{login}@{place}"))


def _see_to_role(owner: psycopg.Connection, app_url: str) -> None:
    """Make the role, or renew its password, when nobody works with another one."""
    login = urlsplit(app_url)
    if login.username != roles.APP_ROLE:
        message = (
            f"The role {login.username} in {environment.APP_URL} cannot log in. Create it, or "
            f"leave the variable unset: then {roles.APP_ROLE} is made."
        )
        raise RoleRefusedError(message)
    if roles.role_in_use(owner):
        message = (
            f"The role {roles.APP_ROLE} is in use on this server with a password we do not "
            f"have. Set {environment.APP_URL} to its address."
        )
        raise RoleRefusedError(message)
    roles.ensure_role(owner, unquote(login.password or "") or None)


def _can_log_in(app_url: str) -> bool:
    try:
        psycopg.connect(app_url, connect_timeout=10).close()
    except psycopg.OperationalError:
        return False
    return True


def _check_bound(app_url: str) -> None:
    """Refuse an application role that row-level security would not bind."""
    with _connect(app_url, environment.APP_URL) as connection:
        weak = roles.weaknesses(connection)
    if weak:
        message = (
            f"The application's role has {', '.join(weak)}: row-level security would not bind "
            f"it. Take that away, or use another role in TOWPATH_APP_DATABASE_URL."
        )
        raise RoleRefusedError(message)


if __name__ == "__main__":
    try:
        prepare(os.environ[environment.OWNER_URL])
    except RoleRefusedError as problem:
        sys.exit(str(problem))
