"""The pages on notices: a member's own wishes, the firm's messages, its endpoints."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db.models import Count

from config import outbox
from config.models import OutboxMessage, WebhookEndpoint
from planning.access import Access
from reports.models import CalendarFeed, NoticePreference, NoticeRules
from reports.models.notices import DIGESTS
from reports.packets.notice_words import DIGEST_WORDS, EVENT_WORDS, EVENTS, KIND_WORDS, STATE_WORDS

SHOWN = 50


def member_page(access: Access, language: str) -> dict[str, Any]:
    """A member's digest and calendar as they stand."""
    wish = NoticePreference.objects.filter(membership_id=access.membership_id).first()
    feed = CalendarFeed.objects.filter(membership_id=access.membership_id).first()
    on = feed is not None and feed.token_sha256 != ""
    return {
        "digest": wish.digest if wish else "off",
        "language": wish.language if wish else language,
        "choices": [(one, DIGEST_WORDS[one]) for one in DIGESTS],
        "languages": settings.LANGUAGES,
        "address": access.actor,
        "mail_ready": "mail" in outbox.channels(),
        "details": details_in_mail(),
        "feed": feed if on else None,
        "feed_language": feed.language if on else language,
    }


def details_in_mail() -> bool:
    """Whether the firm in scope lets mail name clients and amounts."""
    return bool(NoticeRules.objects.filter(details_in_mail=True).exists())


def messages_page(access: Access) -> dict[str, Any]:
    """What could not be sent, what waits, and how many went out."""
    rows = access.scope(OutboxMessage.objects.defer("content"))
    counts = dict(rows.order_by().values_list("state").annotate(Count("pk")))
    trouble = rows.filter(state__in=("unknown", "dead")).order_by("-settled_at")[:SHOWN]
    waiting = rows.filter(state__in=("new", "sending")).order_by("recorded_at")[:SHOWN]
    return {
        "counts": [(STATE_WORDS[name], counts.get(name, 0)) for name in STATE_WORDS],
        "trouble": [_row(one) for one in trouble],
        "waiting": [_row(one) for one in waiting],
        "mail_ready": "mail" in outbox.channels(),
        "details": details_in_mail(),
    }


def endpoints_page(access: Access) -> dict[str, Any]:
    """The firm's endpoints and the log of deliveries to them."""
    found = access.scope(WebhookEndpoint.objects.order_by("-active", "recorded_at", "pk"))
    rows = access.scope(OutboxMessage.objects.defer("content")).filter(channel="webhook")
    return {
        "endpoints": list(found),
        "events": [(one, EVENT_WORDS[one]) for one in EVENTS],
        "log": [_row(one) for one in rows.order_by("-recorded_at", "pk")[:SHOWN]],
    }


def _row(one: OutboxMessage) -> dict[str, Any]:
    return {
        "id": one.pk,
        "kind": KIND_WORDS.get(one.kind, EVENT_WORDS.get(one.kind, one.kind)),
        "recipient": one.recipient,
        "state": STATE_WORDS[one.state],
        "attempt": one.attempt,
        "error": one.error,
        "written": one.recorded_at,
        "due": one.due_at if one.state == "new" else None,
    }
