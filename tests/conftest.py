"""The database as in production: the owner migrates it, the tests connect as the application.

One test database per process, named after it, so that parallel and overlapping
runs never meet. `default` is the application's role, bound by row-level
security; `owner` sees the same database with the owner's rights. An ordinary
`db` test rolls back; a `transactional_db` test is emptied by the owner, because
the application may not truncate.
"""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from django.conf import settings
from django.db import connections

from config.database import roles


def database_name() -> str:
    """A name no other process uses."""
    worker = os.environ.get("PYTEST_XDIST_WORKER", "main")
    return f"test_towpath_{worker}_{os.getpid()}"


def point_default_at(name: str) -> None:
    """Send the application's connection to the test database."""
    default = connections["default"]
    default.close()
    default.settings_dict["NAME"] = name
    settings.DATABASES["default"]["NAME"] = name


def prepare_role() -> None:
    """See that the server has the application's role; its password stays as it is."""
    owner = connections["owner"]
    with owner._nodb_cursor() as cursor:
        roles.ensure_role(cursor.connection, settings.DATABASES["default"]["PASSWORD"] or None)


@pytest.fixture(scope="session")
def django_db_setup(django_db_blocker: pytest.FixtureRequest) -> Iterator[None]:
    """Create and migrate the test database as its owner; drop it at the end."""
    owner = connections["owner"]
    before = {alias: connections[alias].settings_dict["NAME"] for alias in ("owner", "default")}
    owner.settings_dict["TEST"]["NAME"] = database_name()
    with django_db_blocker.unblock():
        if not settings.DATABASES["default"]["PASSWORD"]:
            prepare_role()
        owner.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
        owner.ensure_connection()
        roles.grant_database(owner.connection)
        point_default_at(owner.settings_dict["NAME"])
    yield
    with django_db_blocker.unblock():
        connections["default"].close()
        owner.creation.destroy_test_db(before["owner"], verbosity=0)
        connections["default"].settings_dict["NAME"] = before["default"]


@pytest.fixture(scope="session", autouse=True)
def _owner_empties_tables() -> None:
    """Let `flush` on either alias run as the owner, past the append-only triggers.

    Django empties the tables after a test that committed. The application's role
    may not, and must not be able to; so the owner does, with the triggers of the
    emptied tables off for that one transaction.
    """

    def truncate(_sql_list: list[str]) -> None:
        owner = connections["owner"]
        connections["default"].close()
        with owner.cursor() as cursor:
            cursor.execute(
                "SELECT format('%I.%I', schemaname, tablename) FROM pg_tables"
                " WHERE schemaname = 'public' AND tablename NOT IN"
                " ('django_migrations', 'django_content_type', 'auth_permission')"
            )
            tables = [row[0] for row in cursor.fetchall()]
            cursor.execute("BEGIN")
            for table in tables:
                cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
            cursor.execute(f"TRUNCATE {', '.join(tables)} RESTART IDENTITY CASCADE")
            for table in tables:
                cursor.execute(f"ALTER TABLE {table} ENABLE TRIGGER USER")
            cursor.execute("COMMIT")

    for alias in ("default", "owner"):
        connections[alias].ops.execute_sql_flush = truncate
