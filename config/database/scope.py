"""Whose rows a transaction may see: one firm's, or none.

Row-level security reads two settings. Both are set with SET LOCAL inside a
transaction, so nothing stays on a pooled connection, and leaving a scope puts
back what was there before.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from uuid import UUID

from django.db import DEFAULT_DB_ALIAS, connections, transaction

FIRM_SETTING = "app.firm_id"
USER_SETTING = "app.user_id"

_firm: ContextVar[UUID | None] = ContextVar("towpath_firm", default=None)
_user: ContextVar[UUID | None] = ContextVar("towpath_user", default=None)


class UnscopedError(RuntimeError):
    """A firm's rows were asked for outside any firm's scope: a fault in the code."""


def current_firm() -> UUID | None:
    """The firm in scope; None outside every scope."""
    return _firm.get()


def in_scope() -> bool:
    """Whether a firm, or a user looking for their firm, is in scope."""
    return _firm.get() is not None or _user.get() is not None


@contextmanager
def firm_scope(firm_id: UUID | str, *, using: str = DEFAULT_DB_ALIAS) -> Iterator[UUID]:
    """Run a block as one firm: a transaction (or savepoint) that sees that firm's rows alone.

    Scopes nest; the inner one wins, and leaving it restores the outer one. An
    exception rolls the block back.
    """
    firm = UUID(str(firm_id))
    with _scoped(_firm, FIRM_SETTING, firm, using):
        yield firm


@contextmanager
def user_scope(user_id: UUID | str, *, using: str = DEFAULT_DB_ALIAS) -> Iterator[UUID]:
    """Run a block in which a user's own memberships are visible, whatever their firm."""
    user = UUID(str(user_id))
    with _scoped(_user, USER_SETTING, user, using):
        yield user


@contextmanager
def _scoped(
    variable: ContextVar[UUID | None], setting: str, value: UUID, using: str
) -> Iterator[None]:
    connection = connections[using]
    nested = connection.in_atomic_block
    before = variable.get()
    with transaction.atomic(using=using):
        _set_local(setting, value, using)
        token = variable.set(value)
        try:
            yield
        finally:
            variable.reset(token)
        # A rollback undoes SET LOCAL by itself, and so does the end of the transaction;
        # only a savepoint that is released keeps it.
        if nested and not connection.needs_rollback:
            _set_local(setting, before, using)


def _set_local(setting: str, value: UUID | None, using: str) -> None:
    with connections[using].cursor() as cursor:
        cursor.execute("SELECT set_config(%s, %s, true)", [setting, str(value or "")])
