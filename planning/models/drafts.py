"""What a person is setting up and has not saved: a household file in the making."""

from __future__ import annotations

from django.db import models
from django.db.models.functions import Now

from config.database.base import FirmOwned, owned_key


class HouseholdDraft(FirmOwned):
    """One member's unsaved work on one household: a new one, or a change to one on file.

    `content` is a household file, possibly unfinished; `based_on` names the
    versions a change started from ("3.2": the household's and the plan's).
    Nothing reads it but its owner's pages. It is removed when it is saved or given up.
    """

    member = owned_key("planning.Membership", "drafts")
    household = owned_key("planning.Household", "drafts", null=True)
    based_on = models.CharField(max_length=40, blank=True, default="")
    content = models.JSONField()
    changed_at = models.DateTimeField(db_default=Now())
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "member", "household"],
                name="draft_once",
                nulls_distinct=False,
            ),
        ]
