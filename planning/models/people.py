"""The firm and the people who work for it or look in."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from planning.models.owned import FirmOwned

ROLES = ("principal", "advisor", "assistant", "client", "accountant")


class Firm(models.Model):
    """An advisory firm: the tenant. `thresholds` overrides the drift rules' defaults."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=120, unique=True)
    timezone = models.CharField(max_length=40, default="America/Toronto")
    thresholds = models.JSONField(default=dict)
    recorded_at = models.DateTimeField(db_default=Now())


class Membership(FirmOwned):
    """What a person is to a firm. A client's names their household."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.RESTRICT, related_name="memberships"
    )
    role = models.CharField(max_length=12)
    assists = models.ManyToManyField("self", symmetrical=False, through="Assistance")
    household = models.ForeignKey("Household", on_delete=models.RESTRICT, null=True)
    active = models.BooleanField(default=True)
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "user"], name="membership_once"),
            models.CheckConstraint(condition=Q(role__in=ROLES), name="membership_role_is_known"),
            models.CheckConstraint(
                condition=Q(role="client", household__isnull=False)
                | (~Q(role="client") & Q(household__isnull=True)),
                name="membership_client_has_household",
            ),
        ]


class Assistance(FirmOwned):
    """An assistant works on a named advisor's households."""

    assistant = models.ForeignKey(Membership, on_delete=models.RESTRICT, related_name="+")
    advisor = models.ForeignKey(Membership, on_delete=models.RESTRICT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "assistant", "advisor"], name="assistance_once"
            ),
        ]
