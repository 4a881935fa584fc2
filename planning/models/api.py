"""Programs that act for a member: their tokens, and the answers kept for repeated requests."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Now
from django.utils import timezone

from config.database.base import FirmOwned, owned_key


class ApiToken(FirmOwned):
    """What a member lets a program do, until when. The token itself is nowhere.

    `digest` names the library's row, which alone is looked up by the token's
    hash; without that row, or with `revoked_at`, the token is dead.
    """

    membership = owned_key("planning.Membership", "api_tokens")
    name = models.CharField(max_length=80)
    scopes = models.JSONField(help_text="a list of scopes, read:ledger and so on")
    digest = models.CharField(max_length=128)
    begins = models.CharField(max_length=12, help_text="to recognise it by; not secret")
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "digest"], name="api_token_once"),
            models.CheckConstraint(condition=~Q(name=""), name="api_token_has_a_name"),
            models.CheckConstraint(
                condition=Q(expires_at__gt=F("recorded_at")), name="api_token_ends_later"
            ),
        ]

    @property
    def over(self) -> bool:
        """Whether its life has ended."""
        return self.expires_at <= timezone.now()


class StoredAnswer(FirmOwned):
    """What was answered under an Idempotency-Key, written in the transaction of its effect."""

    key = models.CharField(max_length=100)
    request_digest = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField()
    location = models.CharField(max_length=300, default="")
    body = models.TextField()
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "key"], name="stored_answer_once"),
            models.CheckConstraint(
                condition=Q(request_digest__regex="^[0-9a-f]{64}$"), name="stored_answer_digest"
            ),
            models.CheckConstraint(
                condition=Q(status__gte=200, status__lt=300), name="stored_answer_is_a_success"
            ),
        ]
