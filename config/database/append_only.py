"""Facts are added, never changed: triggers that refuse it to every role.

The application's role has no right to change a fact in the first place. The
triggers stop the owner too, so that a slip in a shell or a migration is
refused. Maintenance is an explicit act of the owner, one transaction long:
`SET LOCAL towpath.maintenance = 'on'`.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connections, transaction
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

CREATE_FUNCTION = """
CREATE OR REPLACE FUNCTION towpath_refuse_change() RETURNS trigger
LANGUAGE plpgsql AS $$
BEGIN
    IF current_setting('towpath.maintenance', true) = 'on'
       AND pg_has_role(current_user,
           (SELECT relowner FROM pg_class WHERE oid = TG_RELID), 'MEMBER') THEN
        IF TG_OP = 'UPDATE' THEN RETURN NEW; END IF;
        IF TG_OP = 'DELETE' THEN RETURN OLD; END IF;
        RETURN NULL;
    END IF;
    RAISE EXCEPTION '% on % is refused: its rows are facts; add a revision instead',
        TG_OP, TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
END
$$
"""
DROP_FUNCTION = "DROP FUNCTION IF EXISTS towpath_refuse_change()"


def guard(schema_editor: BaseDatabaseSchemaEditor, table: str) -> None:
    """Refuse UPDATE, DELETE and TRUNCATE on a table."""
    schema_editor.execute(
        f"CREATE TRIGGER refuse_change BEFORE UPDATE OR DELETE ON {table}"
        " FOR EACH ROW EXECUTE FUNCTION towpath_refuse_change()"
    )
    schema_editor.execute(
        f"CREATE TRIGGER refuse_truncate BEFORE TRUNCATE ON {table}"
        " FOR EACH STATEMENT EXECUTE FUNCTION towpath_refuse_change()"
    )


def drop(schema_editor: BaseDatabaseSchemaEditor, table: str) -> None:
    """Take the guard away."""
    for name in ("refuse_change", "refuse_truncate"):
        schema_editor.execute(f"DROP TRIGGER IF EXISTS {name} ON {table}")


@contextmanager
def maintenance(using: str = "owner") -> Iterator[None]:
    """A transaction of the owner in which facts may be changed. For repairs and tests of checks."""
    with transaction.atomic(using=using), connections[using].cursor() as cursor:
        cursor.execute("SET LOCAL towpath.maintenance = 'on'")
        yield
        cursor.execute("SET LOCAL towpath.maintenance = 'off'")
