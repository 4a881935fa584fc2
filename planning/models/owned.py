"""Rows that belong to a firm, and the manager that refuses to look beyond it."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import models

from config.database import UnscopedError, current_firm


class FirmManager(models.Manager):
    """Only the rows of the firm in scope; outside every scope a clear refusal."""

    def get_queryset(self) -> models.QuerySet:
        """The firm's rows. Raises UnscopedError outside `firm_scope`."""
        firm = current_firm()
        if firm is None:
            raise UnscopedError(
                f"{self.model.__name__} rows belong to a firm: ask inside firm_scope(...)"
            )
        return super().get_queryset().filter(firm_id=firm)


class FirmOwned(models.Model):
    """A row of one firm. The id is random and never the control; the scope is."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    firm = models.ForeignKey("planning.Firm", on_delete=models.RESTRICT, related_name="+")

    objects = FirmManager()

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Save; a new row belongs to the firm in scope unless it says otherwise."""
        if self.firm_id is None:
            self.firm_id = current_firm()
        super().save(*args, **kwargs)


class RateField(models.DecimalField):
    """A rate as it was written: PostgreSQL's unconstrained numeric keeps trailing zeros."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"max_digits": 20, "decimal_places": 12, **kwargs})

    def db_type(self, connection: Any) -> str:  # noqa: ARG002
        """Plain numeric."""
        return "numeric"
