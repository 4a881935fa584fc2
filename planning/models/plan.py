"""What was intended, version by version."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from config.database.base import FirmOwned, owned_key


class PlanVersion(FirmOwned):
    """One version of a household's plan; the highest number is in force.

    `inputs` is the canonical JSON text of the household file's `plan`, kept as
    text because its order counts and `digest` is of its bytes. An empty text
    says that the household has no plan any more.
    """

    facts = True

    household = owned_key("planning.Household", "plans")
    number = models.PositiveIntegerField()
    inputs = models.TextField(blank=True)
    digest = models.CharField(max_length=64)
    reason = models.TextField(blank=True, default="")
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        on_delete=models.RESTRICT,
        related_name="+",
        db_index=False,
    )
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "household", "number"], name="plan_version_once"
            ),
            models.CheckConstraint(condition=Q(number__gte=1), name="plan_version_from_one"),
            models.CheckConstraint(
                condition=Q(digest__regex="^[0-9a-f]{64}$"), name="plan_digest_is_sha256"
            ),
        ]
