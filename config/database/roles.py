"""The application's login role: made once per server, given its rights per database.

The role owns nothing, may not pass by row-level security and may not create
anything; that is the whole point of connecting through it. Its rights on each
table come with the migrations. Works on plain psycopg connections of the owner,
so that the bootstrap, the tests and a given database share one way.
"""

from __future__ import annotations

import psycopg
from psycopg import sql

from config.machine import CannotGoOn

APP_ROLE = "towpath_app"
LIMITS = "LOGIN NOSUPERUSER NOBYPASSRLS NOCREATEDB NOCREATEROLE NOREPLICATION NOINHERIT"


class RoleRefusedError(CannotGoOn):
    """The owner may not create the application's role; `str()` says what to run instead."""


def manual_sql(database: str) -> str:
    """The statements an administrator runs when the owner lacks the right to."""
    return (
        f"CREATE ROLE {APP_ROLE} {LIMITS} PASSWORD '<a long random password>';\n"
        f'GRANT CONNECT ON DATABASE "{database}" TO {APP_ROLE};\n'
        "then set TOWPATH_APP_DATABASE_URL to the database's address with that role."
    )


def role_exists(connection: psycopg.Connection) -> bool:
    """Whether the server knows the application's role."""
    found = connection.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [APP_ROLE])
    return found.fetchone() is not None


def role_in_use(connection: psycopg.Connection) -> bool:
    """Whether somebody is connected as the application right now."""
    found = connection.execute(
        "SELECT 1 FROM pg_stat_activity WHERE usename = %s LIMIT 1", [APP_ROLE]
    )
    return found.fetchone() is not None


def ensure_role(connection: psycopg.Connection, password: str | None) -> None:
    """Create the role, or bring its limits and password up to date.

    `password` None leaves the password as it is. Raises `RoleRefusedError` when the
    owner has not the right.
    """
    verb = "ALTER" if role_exists(connection) else "CREATE"
    # The two limits that only a superuser may name are named only on creation.
    limits = LIMITS if verb == "CREATE" else "LOGIN"
    words = sql.SQL(f"{verb} ROLE {{role}} {limits}").format(role=sql.Identifier(APP_ROLE))
    if password is not None:
        words += sql.SQL(" PASSWORD {}").format(sql.Literal(password))
    try:
        connection.execute(words)
    except psycopg.errors.InsufficientPrivilege as refused:
        message = "The owner in DATABASE_URL may not create roles. As an administrator run:\n"
        raise RoleRefusedError(message + manual_sql(connection.info.dbname)) from refused


def weaknesses(connection: psycopg.Connection) -> tuple[str, ...]:
    """Why the application's role would not be bound by row-level security; empty when it is.

    `connection` is one of the application role itself.
    """
    row = connection.execute(
        "SELECT rolsuper, rolbypassrls, rolcreatedb, rolcreaterole,"
        " pg_has_role(current_user, (SELECT datdba FROM pg_database"
        "  WHERE datname = current_database()), 'member')"
        " FROM pg_roles WHERE rolname = current_user"
    ).fetchone()
    names = ("SUPERUSER", "BYPASSRLS", "CREATEDB", "CREATEROLE", "membership in the owner")
    return tuple(name for name, held in zip(names, row or (), strict=True) if held)


def grant_database(connection: psycopg.Connection, role_name: str = APP_ROLE) -> None:
    """Let the role into the connected database, and nobody create in its schema but the owner."""
    database = sql.Identifier(connection.info.dbname)
    role = sql.Identifier(role_name)
    connection.execute(sql.SQL("GRANT CONNECT ON DATABASE {} TO {}").format(database, role))
    connection.execute(sql.SQL("GRANT USAGE ON SCHEMA public TO {}").format(role))
