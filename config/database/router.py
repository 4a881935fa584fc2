"""One database, two roles: only the owning role migrates.

The application reads and writes through `default`, a login role that owns
nothing, so row-level security binds it. `migrate --database owner` is the one
way to change the schema; plain `migrate` finds nothing to do on `default`.
"""

from __future__ import annotations

from typing import Any

OWNER = "owner"


class OwnerMigrates:
    """Django's database router. Both aliases see the same rows, so relations may cross."""

    def allow_migrate(self, db: str, app_label: str, **hints: Any) -> bool:  # noqa: ARG002
        """Whether migrations run on the alias `db`: on the owner's alone."""
        return db == OWNER

    def allow_relation(self, obj1: object, obj2: object, **hints: Any) -> bool:  # noqa: ARG002
        """Rows read through either alias are rows of the same database."""
        return True
