"""Does the database still refuse what it must? Read from its catalogue, not from our models' word.

Tables are discovered: every model with a firm must be bound to it. A table is a
fact's when the application has no right to change it; then the triggers must be
there, armed.
"""

from __future__ import annotations

from collections.abc import Iterator

from django.apps import apps
from django.db import connection
from django.db.models import Model

from config.database.rls import constraint_name, references
from ledger.selectors.checks.findings import CheckFinding
from planning.models import FirmOwned

_SECURED = """
    SELECT c.relname, c.relrowsecurity,
           EXISTS (SELECT 1 FROM pg_policy p WHERE p.polrelid = c.oid AND p.polname = 'one_firm'
                    AND p.polpermissive AND p.polcmd = '*' AND p.polwithcheck IS NOT NULL)
      FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
     WHERE n.nspname = 'public' AND c.relkind = 'r'
"""
_KEYS = """
    SELECT conname FROM pg_constraint
     WHERE convalidated AND contype IN ('f', 'u') AND connamespace = 'public'::regnamespace
"""
_TRIGGERS = """
    SELECT c.relname, count(*) FILTER (WHERE t.tgtype & 16 > 0), count(*) FILTER
           (WHERE t.tgtype & 8 > 0), count(*) FILTER (WHERE t.tgtype & 32 > 0)
      FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid
     WHERE p.proname = 'towpath_refuse_change' AND t.tgenabled IN ('O', 'A')
     GROUP BY c.relname
"""


def owned_models() -> tuple[type[Model], ...]:
    """Every table that belongs to a firm."""
    found = [model for model in apps.get_models() if issubclass(model, FirmOwned)]
    return tuple(sorted(found, key=lambda model: model._meta.db_table))


def row_security() -> Iterator[CheckFinding]:
    """Row-level security is on, with its policy, on every table that belongs to a firm."""
    found = {row[0]: row[1:] for row in _ask(_SECURED)}
    names = [*(model._meta.db_table for model in owned_models()), "planning_firm"]
    for table in names:
        on, policy = found.get(table, (False, False))
        if not on:
            yield _fault("row-security", table, "row-level security is off")
        if not policy:
            yield _fault("row-security", table, "the policy one_firm is missing or weakened")
    if _ask(
        "SELECT current_user = (SELECT tableowner FROM pg_tables"
        " WHERE tablename = 'planning_firm' AND schemaname = 'public')"
        " OR (SELECT rolsuper OR rolbypassrls FROM pg_roles WHERE rolname = current_user)"
    )[0][0]:
        yield _fault("row-security", "role", "the application's role is not bound by policies")


def composite_keys() -> Iterator[CheckFinding]:
    """Every reference between tables of a firm carries the firm, so no row points outside."""
    names = {row[0] for row in _ask(_KEYS)}
    for model in owned_models():
        table = model._meta.db_table
        if f"{table}_firm_id" not in names:
            yield _fault("composite-keys", table, "UNIQUE (firm_id, id) is missing")
        for field in references(model):
            if constraint_name(model, field) not in names:
                where = f"{table}.{field.column}"
                yield _fault("composite-keys", where, "the foreign key with the firm is missing")


def append_only() -> Iterator[CheckFinding]:
    """Tables of facts refuse UPDATE, DELETE and TRUNCATE, and the application has no right to."""
    armed = {row[0]: row[1:] for row in _ask(_TRIGGERS)}
    for model in owned_models():
        table = model._meta.db_table
        if not getattr(model, "facts", False):
            continue
        rights = _ask(
            "SELECT has_table_privilege(%s, 'UPDATE'), has_table_privilege(%s, 'DELETE'),"
            " has_table_privilege(%s, 'TRUNCATE')",
            [table] * 3,
        )[0]
        if any(rights):
            yield _fault("append-only", table, "the application's role may change its rows")
        if not all(armed.get(table, (0, 0, 0))):
            yield _fault("append-only", table, "a trigger that refuses changes is missing or off")


def _ask(question: str, values: list[str] | None = None) -> list[tuple[object, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(question, values)
        return list(cursor.fetchall())


def _fault(check: str, where: str, message: str) -> CheckFinding:
    return CheckFinding(check, "fault", "", "", where, message)
