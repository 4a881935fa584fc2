"""Write the trail: one row per act, in the act's own transaction, chained by hash."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from django.db import connection

from config.database import UnscopedError, current_firm
from config.models import AuditEvent

GENESIS = "0" * 64


def record(
    *,
    action: str,
    object_type: str,
    object_id: str,
    actor_id: UUID | None = None,
    channel: str = "system",
    detail: Mapping[str, Any] | None = None,
) -> AuditEvent:
    """Add one event to the trail of the firm in scope.

    `detail` holds plain JSON values and no secrets. Raises UnscopedError
    outside a firm's scope.
    """
    firm = current_firm()
    if firm is None:
        raise UnscopedError("an audit event belongs to a firm")
    # One writer a firm at a time, or two events could follow the same one.
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 7))", [str(firm)])
    last = AuditEvent.objects.filter(firm_id=firm).order_by("-number").first()
    event = AuditEvent(
        firm_id=firm,
        number=1 if last is None else last.number + 1,
        recorded_at=datetime.now(UTC),
        actor_id=actor_id,
        channel=channel,
        action=action,
        object_type=object_type,
        object_id=object_id,
        detail=dict(detail or {}),
        previous_hash=GENESIS if last is None else last.row_hash,
    )
    event.row_hash = row_hash(event)
    event.save(force_insert=True)
    return event


def row_hash(event: AuditEvent) -> str:
    """SHA-256 over the event's content and the hash before it."""
    content = {
        "firm": str(event.firm_id),
        "number": event.number,
        "recorded_at": event.recorded_at.astimezone(UTC).isoformat(),
        "actor": None if event.actor_id is None else str(event.actor_id),
        "channel": event.channel,
        "action": event.action,
        "object": [event.object_type, event.object_id],
        "detail": event.detail,
    }
    text = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256((event.previous_hash + text).encode()).hexdigest()


def chain_breaks() -> list[int]:
    """Numbers of the scoped firm's events that do not follow the one before them."""
    broken: list[int] = []
    previous, expected = GENESIS, 1
    for event in AuditEvent.objects.filter(firm_id=current_firm()).order_by("number").iterator():
        if (
            event.number != expected
            or event.previous_hash != previous
            or event.row_hash != row_hash(event)
        ):
            broken.append(event.number)
        previous, expected = event.row_hash, event.number + 1
    return broken
