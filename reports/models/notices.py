"""What each member wants to be told, and by which way."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from config.database.base import FirmOwned, owned_key

DIGESTS = ("off", "daily", "weekly")


class NoticeRules(FirmOwned):
    """The firm's own rule for mail. Without a row, mail names no client and no amount."""

    details_in_mail = models.BooleanField(default=False)
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [models.UniqueConstraint(fields=["firm"], name="notice_rules_once")]


class NoticePreference(FirmOwned):
    """How often a member wants a digest by mail, and in which language."""

    membership = owned_key("planning.Membership", "notice_preferences")
    digest = models.CharField(max_length=8, default="off")
    language = models.CharField(max_length=2, default="en")
    changed_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "membership"], name="notice_preference_once"),
            models.CheckConstraint(condition=Q(digest__in=DIGESTS), name="notice_digest_known"),
            models.CheckConstraint(
                condition=Q(language__in=("en", "fr")), name="notice_language_known"
            ),
        ]


class CalendarFeed(FirmOwned):
    """A member's secret address of a calendar. The address itself is not kept, only its digest.

    An empty digest is a feed that was revoked. `window_at` and `asked` count
    requests for the limit of rates.
    """

    membership = owned_key("planning.Membership", "calendar_feeds")
    token_sha256 = models.CharField(max_length=64)
    language = models.CharField(max_length=2, default="en")
    names = models.BooleanField(default=False)
    made_at = models.DateTimeField(db_default=Now())
    window_at = models.DateTimeField(db_default=Now())
    asked = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "membership"], name="calendar_feed_once"),
            models.CheckConstraint(
                condition=Q(token_sha256__regex="^([0-9a-f]{64})?$"),  # noqa: S106 - a form
                name="calendar_feed_sha256",
            ),
            models.CheckConstraint(
                condition=Q(language__in=("en", "fr")), name="calendar_feed_language_known"
            ),
        ]
