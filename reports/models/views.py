"""Views of the work list that members keep under a name."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from config.database.base import FirmOwned, owned_key


class SavedView(FirmOwned):
    """Filters of the work list under a name: its owner's, or the firm's when shared.

    `query` is a query string as `reports.selectors.worklist.Filters` writes it.
    """

    owner = owned_key("planning.Membership", "saved_views")
    name = models.CharField(max_length=60)
    query = models.CharField(max_length=800)
    shared = models.BooleanField(default=False)
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "owner", "name"], name="view_name_once"),
            models.CheckConstraint(condition=~Q(name=""), name="view_has_a_name"),
        ]
        indexes = [
            models.Index(fields=["firm"], condition=Q(shared=True), name="view_shared"),
        ]
