"""Messages that leave the server: written with the act they tell of, sent afterwards."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from config.database.base import FirmOwned, owned_key

STATES = ("new", "sending", "sent", "unknown", "dead")
CHANNELS = ("mail", "webhook")


class WebhookEndpoint(FirmOwned):
    """An address of the firm's own that is told of events by name.

    The secret is not kept: it is made again from the server's key, this row's
    id and `generation`; `secret_check` tells whether what was made is right.
    """

    url = models.CharField(max_length=500)
    events = models.JSONField(default=list)
    active = models.BooleanField(default=True)
    generation = models.PositiveIntegerField(default=1)
    secret_check = models.CharField(max_length=64)
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
            models.CheckConstraint(
                condition=Q(url__startswith="https://") | Q(url__startswith="http://127.0.0.1:"),
                name="webhook_url_is_https",
            ),
        ]


class OutboxMessage(FirmOwned):
    """One message to one recipient, complete as it will be sent, and how far it is.

    `dedupe_key` makes writing it twice the same row. `new` waits for `due_at`;
    `sending` is held under a fence until `lease_until`; `sent` is final;
    `unknown` may or may not have arrived and is not sent again by itself;
    `dead` was given up. All times are the database's. `error` is a type and a
    number, never what a server wrote back.
    """

    dedupe_key = models.CharField(max_length=200)
    kind = models.CharField(max_length=40)
    channel = models.CharField(max_length=10)
    recipient = models.CharField(max_length=500)
    endpoint = owned_key("config.WebhookEndpoint", "messages", null=True)
    content = models.TextField()
    at_most_once = models.BooleanField(default=False)
    state = models.CharField(max_length=10, default="new")
    fence = models.BigIntegerField(default=0)
    attempt = models.PositiveIntegerField(default=0)
    due_at = models.DateTimeField(db_default=Now())
    lease_until = models.DateTimeField(null=True)
    hinted_at = models.DateTimeField(null=True)
    error = models.CharField(max_length=200, default="")
    recorded_at = models.DateTimeField(db_default=Now())
    settled_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "dedupe_key"], name="outbox_once"),
            models.CheckConstraint(condition=Q(state__in=STATES), name="outbox_state_is_known"),
            models.CheckConstraint(condition=Q(channel__in=CHANNELS), name="outbox_channel_known"),
            models.CheckConstraint(
                condition=Q(state="sending", lease_until__isnull=False)
                | (~Q(state="sending") & Q(lease_until__isnull=True)),
                name="outbox_sending_has_a_lease",
            ),
            models.CheckConstraint(
                condition=Q(channel="mail", endpoint__isnull=True)
                | Q(channel="webhook", endpoint__isnull=False),
                name="outbox_webhook_has_endpoint",
            ),
        ]
        indexes = [
            models.Index(
                fields=["firm", "state", "due_at"],
                condition=~Q(state="sent"),
                name="outbox_work",
            ),
            models.Index(fields=["firm", "channel", "recorded_at"], name="outbox_log"),
        ]
