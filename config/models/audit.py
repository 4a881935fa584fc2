"""The trail of a firm: who did what, when, through which door; each row seals the one before."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from config.database.base import FirmOwned

CHANNELS = ("desk", "command", "worker", "beat", "api")


class AuditEvent(FirmOwned):
    """One act. `number` counts within the firm; `digest` covers the row and `previous`.

    Written by `config.audit.record` alone. Rows are added, never changed.
    """

    facts = True

    number = models.PositiveBigIntegerField()
    at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        on_delete=models.RESTRICT,
        related_name="+",
        db_index=False,
    )
    actor = models.CharField(max_length=200, help_text="the user's address, or the system's reason")
    channel = models.CharField(max_length=10)
    action = models.CharField(max_length=60)
    object_type = models.CharField(max_length=60, blank=True)
    object_id = models.CharField(max_length=80, blank=True)
    detail = models.JSONField(default=dict)
    previous = models.CharField(max_length=64)
    digest = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "number"], name="audit_number_once"),
            models.CheckConstraint(condition=Q(channel__in=CHANNELS), name="audit_channel_known"),
            models.CheckConstraint(
                condition=Q(digest__regex="^[0-9a-f]{64}$"), name="audit_digest_is_sha256"
            ),
        ]
        indexes = [
            models.Index(fields=["firm", "object_type", "object_id"], name="audit_by_object"),
        ]
