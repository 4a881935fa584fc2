"""The base of every table that belongs to a firm."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from decimal import Decimal
from typing import Any, ClassVar

from django.db import models
from django.db.models import Q

from config.database.router import OWNER
from config.database.scope import UnscopedError, in_scope

MAX_CENTS = 10**15
"""Ten trillion dollars: what a household file can say at most, with room to spare."""


class ScopedQuerySet(models.QuerySet[Any]):
    """Refuses to touch the database outside a firm's scope.

    Row-level security would answer with no rows, which reads like an empty
    book. A missing scope is a fault in the code, so it is an error. The check
    is made when the query runs, so querysets may be built anywhere.
    """

    def _checked(self) -> None:
        if self.db != OWNER and not in_scope():
            raise UnscopedError(
                f"{self.model.__name__} rows were asked for outside firm_scope(); open one, "
                "or go through planning.access"
            )

    def _fetch_all(self) -> None:
        if self._result_cache is None:
            self._checked()
        super()._fetch_all()

    def iterator(self, *args: Any, **kwargs: Any) -> Iterator[Any]:
        """Rows one by one, within a scope."""
        self._checked()
        return super().iterator(*args, **kwargs)

    def aggregate(self, *args: Any, **kwargs: Any) -> dict[str, Any]:
        """Aggregates, within a scope."""
        self._checked()
        return super().aggregate(*args, **kwargs)

    def count(self) -> int:
        """The number of rows, within a scope."""
        self._checked()
        return super().count()

    def exists(self) -> bool:
        """Whether there is a row, within a scope."""
        self._checked()
        return super().exists()

    def update(self, **kwargs: Any) -> int:
        """Change rows, within a scope."""
        self._checked()
        return super().update(**kwargs)

    def delete(self) -> tuple[int, dict[str, int]]:
        """Remove rows, within a scope."""
        self._checked()
        return super().delete()

    def _insert(self, *args: Any, **kwargs: Any) -> Any:
        self._checked()
        return super()._insert(*args, **kwargs)


ScopedManager = models.Manager.from_queryset(ScopedQuerySet)


class FirmOwned(models.Model):
    """A row of one firm, with an id that says nothing and cannot be guessed.

    Its first migration adds `OwnedTable`, which makes the firm part of every key.
    `facts` says that rows are added and never changed; the migration then says
    so too, and `check_ledger` looks whether the database agrees.
    """

    facts: ClassVar[bool] = False

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    # The composite keys and indexes that lead with firm_id serve this reference.
    firm = models.ForeignKey(
        "planning.Firm", on_delete=models.RESTRICT, related_name="+", db_index=False
    )

    objects = ScopedManager()

    class Meta:
        abstract = True


class RateField(models.Field):
    """A decimal fraction kept exactly as written: "0.0450" stays four places long.

    PostgreSQL's numeric without a precision keeps the scale of each value, which
    Django's DecimalField would pad.
    """

    def db_type(self, connection: Any) -> str:  # noqa: ARG002
        """The column type."""
        return "numeric"

    def get_prep_value(self, value: Any) -> Any:
        """A Decimal for the database."""
        value = super().get_prep_value(value)
        return None if value is None else Decimal(value)

    def to_python(self, value: Any) -> Decimal | None:
        """A Decimal from text or a number already exact."""
        return None if value is None else Decimal(value)


def cents_between(field: str, low: int = 0, high: int = MAX_CENTS) -> Q:
    """The condition that an amount lies in range, or is not given."""
    return Q(**{f"{field}__isnull": True}) | Q(**{f"{field}__gte": low, f"{field}__lte": high})


def rate_between(field: str, low: str, high: str) -> Q:
    """The condition that a rate lies in range, or is not given."""
    bounds = {f"{field}__gte": Decimal(low), f"{field}__lte": Decimal(high)}
    return Q(**{f"{field}__isnull": True}) | Q(**bounds)


def owned_key(to: str, name: str, **options: Any) -> models.ForeignKey[Any, Any]:
    """A reference to a row of the same firm; the composite key of `OwnedTable` enforces it."""
    return models.ForeignKey(
        to,
        on_delete=models.RESTRICT,
        related_name=name,
        db_index=False,
        db_constraint=False,
        **options,
    )
