"""The firm and the people who act in it."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Now

from config.database.base import FirmOwned, ScopedManager, owned_key

ROLES = ("principal", "advisor", "assistant", "client", "accountant")


class Firm(models.Model):
    """A firm. Its own row is the only one its scope shows."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=200, unique=True)
    timezone = models.CharField(max_length=60, default="America/Toronto")
    recorded_at = models.DateTimeField(db_default=Now())

    objects = ScopedManager()

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(name=""), name="firm_has_a_name")]


class FirmSettings(FirmOwned):
    """The firm's settings as they stood; the highest number is in force.

    `thresholds` holds the drift thresholds that differ from the defaults.
    """

    facts = True

    number = models.PositiveIntegerField(help_text="1, 2, 3 within the firm")
    thresholds = models.JSONField(default=dict, blank=True)
    reason = models.TextField()
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
            models.UniqueConstraint(fields=["firm", "number"], name="firm_settings_once"),
            models.CheckConstraint(condition=Q(number__gte=1), name="firm_settings_from_one"),
            models.CheckConstraint(condition=~Q(reason=""), name="firm_settings_give_a_reason"),
        ]


class Membership(FirmOwned):
    """A user's part in a firm. A user sees their own, in every firm; the firm sees its own."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.RESTRICT, related_name="memberships"
    )
    role = models.CharField(max_length=12, choices=[(role, role) for role in ROLES])
    active = models.BooleanField(default=True)
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "user"], name="membership_once"),
            models.CheckConstraint(condition=Q(role__in=ROLES), name="membership_role_known"),
        ]


class Delegation(FirmOwned):
    """An assistant acts for an advisor."""

    assistant = owned_key("planning.Membership", "acts_for")
    advisor = owned_key("planning.Membership", "assisted_by")
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "assistant", "advisor"], name="delegation_once"
            ),
            models.CheckConstraint(
                condition=~Q(assistant=F("advisor")), name="delegation_to_another"
            ),
        ]
