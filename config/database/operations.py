"""Migration operations for tables that belong to a firm.

`FirmTable` turns an ordinary table into a firm's: row-level security on
`firm_id`, a unique (firm_id, id), and foreign keys that carry the firm along,
so that a row can never point into another firm (a plain foreign key is checked
past the policies). `append_only` adds triggers that refuse UPDATE, DELETE and
TRUNCATE to every role. The application's role gets the rights it needs and no
more.
"""

from __future__ import annotations

from collections.abc import Mapping

from django.db.migrations.operations.base import Operation
from django.db.migrations.operations.special import RunSQL

APP_ROLE = "towpath_app"
FIRM = "nullif(current_setting('app.firm_id', true), '')::uuid"
PERSON = "nullif(current_setting('app.user_id', true), '')::uuid"


def refuse_changes_function() -> Operation:
    """The trigger function behind append-only tables."""
    return RunSQL(
        """
        CREATE FUNCTION towpath_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
            RAISE EXCEPTION 'rows of % are kept for good: add a new row instead', TG_TABLE_NAME
                USING ERRCODE = 'restrict_violation';
        END $$
        """,
        "DROP FUNCTION towpath_refuse_change()",
    )


def grants(table: str, rights: str) -> Operation:
    """Rights of the application's role on one table."""
    return RunSQL(
        f"GRANT {rights} ON {table} TO {APP_ROLE}", f"REVOKE ALL ON {table} FROM {APP_ROLE}"
    )


def policy(table: str, condition: str, seen: str | None = None) -> list[Operation]:
    """Row-level security on a table: `condition` for writing, `seen` (or the same) for reading."""
    return [
        RunSQL(
            [
                f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY",
                (f"CREATE POLICY firm_isolation ON {table}"
                f" USING ({seen or condition}) WITH CHECK ({condition})"),
            ],
            [
                f"DROP POLICY firm_isolation ON {table}",
                f"ALTER TABLE {table} DISABLE ROW LEVEL SECURITY",
            ],
        )
    ]


def append_only(table: str) -> list[Operation]:
    """Triggers that refuse to change or remove what is written."""
    return [
        RunSQL(
            [
                (f"CREATE TRIGGER append_only_rows BEFORE UPDATE OR DELETE ON {table}"
                " FOR EACH ROW EXECUTE FUNCTION towpath_refuse_change()"),
                (f"CREATE TRIGGER append_only_table BEFORE TRUNCATE ON {table}"
                " FOR EACH STATEMENT EXECUTE FUNCTION towpath_refuse_change()"),
            ],
            [
                f"DROP TRIGGER append_only_rows ON {table}",
                f"DROP TRIGGER append_only_table ON {table}",
            ],
        )
    ]


def firm_table(
    table: str,
    parents: Mapping[str, str] | None = None,
    *,
    kept_for_good: bool = False,
    removable: bool = False,
    also_seen: str = "",
) -> list[Operation]:
    """Everything a firm's table needs beyond its columns.

    `parents` maps a column to the firm-owned table it points to. Rows of a
    `kept_for_good` table are never changed; those of a `removable` one may be
    deleted by the application. `also_seen` widens what may be read.
    """
    steps: list[Operation] = [
        RunSQL(
            f"ALTER TABLE {table} ADD CONSTRAINT {table}_firm_key UNIQUE (firm_id, id)",
            f"ALTER TABLE {table} DROP CONSTRAINT {table}_firm_key",
        )
    ]
    for column, parent in (parents or {}).items():
        name = f"{table}_{column}_firm"
        steps.append(
            RunSQL(
                f"ALTER TABLE {table} ADD CONSTRAINT {name} FOREIGN KEY (firm_id, {column})"
                f" REFERENCES {parent} (firm_id, id) ON DELETE RESTRICT"
                " DEFERRABLE INITIALLY DEFERRED",
                f"ALTER TABLE {table} DROP CONSTRAINT {name}",
            )
        )
    own = f"firm_id = {FIRM}"
    steps += policy(table, own, f"{own} OR {also_seen}" if also_seen else None)
    if kept_for_good:
        steps += append_only(table)
        rights = "SELECT, INSERT"
    else:
        rights = "SELECT, INSERT, UPDATE, DELETE" if removable else "SELECT, INSERT, UPDATE"
    steps.append(grants(table, rights))
    return steps
