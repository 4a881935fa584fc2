"""A migration operation that makes a table one firm's at a time.

`OwnedTable` gives a table that has a `firm` key, at its first migration:

- UNIQUE (firm_id, id), and for every reference to another such table a
  composite foreign key (firm_id, parent_id) -> parent (firm_id, id), so that no
  row can point into another firm. Foreign-key checks pass by policies; the
  composite key is what stops them at the firm.
- row-level security on `firm_id`, for reading and for writing.
- the application role's rights, without UPDATE and DELETE where rows are facts.
- for facts, triggers that refuse UPDATE, DELETE and TRUNCATE to every role.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.apps.registry import Apps
from django.conf import settings
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState
from django.db.models import Field, Model

from config.database import append_only

FIRM_IN_SCOPE = "nullif(current_setting('app.firm_id', true), '')::uuid"
USER_IN_SCOPE = "nullif(current_setting('app.user_id', true), '')::uuid"


def app_role() -> str:
    """The login role of the application, as this installation names it."""
    return settings.DATABASES["default"].get("USER") or settings.APP_ROLE


def references(model: type[Model]) -> Iterator[Field]:
    """The model's references to other tables that belong to a firm."""
    for field in model._meta.local_fields:
        target = field.related_model if field.many_to_one or field.one_to_one else None
        if target is None or not isinstance(target, type) or field.name == "firm":
            continue
        if any(one.name == "firm" for one in target._meta.local_fields):
            yield field


def constraint_name(model: type[Model], field: Field) -> str:
    """The name of a composite foreign key, within PostgreSQL's 63 characters."""
    return f"{model._meta.db_table}_{field.column}_same_firm"[:63]


class OwnedTable(Operation):
    """Bind a table to its firm.

    `facts`: rows are added and never changed. `removable`: the application may
    delete rows; without it a row that is not a fact may still be updated.
    """

    reduces_to_sql = True
    reversible = True

    def __init__(self, name: str, *, facts: bool = False, removable: bool = False) -> None:
        self.name = name
        self.facts = facts
        self.removable = removable

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        """How the migration writer would write this operation."""
        return type(self).__name__, [self.name], {"facts": self.facts, "removable": self.removable}

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        """Nothing Django's state knows about changes."""

    def database_forwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,  # noqa: ARG002
        to_state: ProjectState,
    ) -> None:
        """Add keys, policy, rights and triggers."""
        apps: Apps = to_state.apps
        model = apps.get_model(app_label, self.name)
        table = model._meta.db_table
        schema_editor.execute(
            f"ALTER TABLE {table} ADD CONSTRAINT {table}_firm_id UNIQUE (firm_id, id)"
        )
        for field in references(model):
            schema_editor.execute(_composite_key(model, field))
        rights = "SELECT, INSERT" if self.facts else "SELECT, INSERT, UPDATE"
        if self.removable:
            rights += ", DELETE"
        secure(schema_editor, table, f"firm_id = {FIRM_IN_SCOPE}", rights)
        if self.facts:
            append_only.guard(schema_editor, table)

    def database_backwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,  # noqa: ARG002
    ) -> None:
        """Take them away again."""
        model = from_state.apps.get_model(app_label, self.name)
        table = model._meta.db_table
        append_only.drop(schema_editor, table)
        schema_editor.execute(f"DROP POLICY IF EXISTS one_firm ON {table}")
        schema_editor.execute(f"ALTER TABLE {table} DISABLE ROW LEVEL SECURITY")
        for field in references(model):
            name = constraint_name(model, field)
            schema_editor.execute(f"ALTER TABLE {table} DROP CONSTRAINT IF EXISTS {name}")
        schema_editor.execute(f"ALTER TABLE {table} DROP CONSTRAINT {table}_firm_id CASCADE")

    def describe(self) -> str:
        """What `migrate` prints."""
        return f"Bind {self.name} to its firm" + (" and refuse changes" if self.facts else "")


def _composite_key(model: type[Model], field: Field) -> str:
    table, parent = model._meta.db_table, field.related_model._meta.db_table
    return (
        f"ALTER TABLE {table} ADD CONSTRAINT {constraint_name(model, field)}"
        f" FOREIGN KEY (firm_id, {field.column}) REFERENCES {parent} (firm_id, id)"
        " ON DELETE RESTRICT"
    )


def secure(
    schema_editor: BaseDatabaseSchemaEditor, table: str, condition: str, rights: str
) -> None:
    """Put a table under its policy and grant the application its rights."""
    schema_editor.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
    schema_editor.execute(
        f"CREATE POLICY one_firm ON {table} USING ({condition}) WITH CHECK ({condition})"
    )
    grant(schema_editor, table, rights)


def grant(schema_editor: BaseDatabaseSchemaEditor, table: str, rights: str) -> None:
    """Give the application's role rights on a table."""
    role = schema_editor.quote_name(app_role())
    schema_editor.execute(f"GRANT {rights} ON {table} TO {role}")


class RoleSQL(Operation):
    """Statements in which `{role}` stands for the application's role, and their reverse."""

    reduces_to_sql = True
    reversible = True

    def __init__(self, forwards: list[str], backwards: list[str]) -> None:
        self.forwards = forwards
        self.backwards = backwards

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        """How the migration writer would write this operation."""
        return type(self).__name__, [self.forwards, self.backwards], {}

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        """Nothing Django's state knows about changes."""

    def database_forwards(
        self,
        app_label: str,  # noqa: ARG002
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,  # noqa: ARG002
        to_state: ProjectState,  # noqa: ARG002
    ) -> None:
        """Run the statements."""
        self._run(schema_editor, self.forwards)

    def database_backwards(
        self,
        app_label: str,  # noqa: ARG002
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,  # noqa: ARG002
        to_state: ProjectState,  # noqa: ARG002
    ) -> None:
        """Run the reverse."""
        self._run(schema_editor, self.backwards)

    def _run(self, schema_editor: BaseDatabaseSchemaEditor, statements: list[str]) -> None:
        role = schema_editor.quote_name(app_role())
        for statement in statements:
            schema_editor.execute(statement.replace("{role}", role))

    def describe(self) -> str:
        """What `migrate` prints."""
        return "Run statements that name the application's role"


def grants(table: str, rights: str) -> RoleSQL:
    """Rights of the application's role on a table that belongs to no firm."""
    return RoleSQL(
        [f"GRANT {rights} ON {table} TO {{role}}"], [f"REVOKE {rights} ON {table} FROM {{role}}"]
    )


def one_firm(table: str) -> RoleSQL:
    """The table of firms itself: a scope sees the row of its own firm."""
    condition = f"id = {FIRM_IN_SCOPE}"
    return RoleSQL(
        [
            f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY",
            f"CREATE POLICY one_firm ON {table} USING ({condition}) WITH CHECK ({condition})",
            f"GRANT SELECT, INSERT, UPDATE ON {table} TO {{role}}",
        ],
        [f"DROP POLICY one_firm ON {table}", f"ALTER TABLE {table} DISABLE ROW LEVEL SECURITY"],
    )


def own_memberships(table: str) -> RoleSQL:
    """A signed-in user finds their own memberships before any firm is in scope. Reading only."""
    return RoleSQL(
        [f"CREATE POLICY own ON {table} FOR SELECT USING (user_id = {USER_IN_SCOPE})"],
        [f"DROP POLICY own ON {table}"],
    )


def firm_ids(table: str) -> RoleSQL:
    """`towpath_firm_ids()`: every firm's id and nothing else, for schedulers and commands.

    Runs with the owner's rights, which policies do not bind; the search path is
    pinned so that nobody can slip another table under it.
    """
    create = (
        "CREATE FUNCTION towpath_firm_ids() RETURNS SETOF uuid"
        " LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, pg_temp"
        " AS 'SELECT id FROM public.{table} ORDER BY recorded_at, id'"
    ).replace("{table}", table)
    return RoleSQL(
        [
            create,
            "REVOKE ALL ON FUNCTION towpath_firm_ids() FROM PUBLIC",
            "GRANT EXECUTE ON FUNCTION towpath_firm_ids() TO {role}",
        ],
        ["DROP FUNCTION towpath_firm_ids()"],
    )
