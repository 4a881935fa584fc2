"""Writing and checking the trail. Services call `record` inside their own transaction."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from hashlib import sha256
from typing import Any, Protocol
from uuid import UUID

from django.db import DEFAULT_DB_ALIAS, connections

from config.models.audit import AuditEvent

START = "0" * 64


class Actor(Protocol):
    """Who acts for which firm, through which door; `planning.access.Access` is one."""

    @property
    def firm_id(self) -> UUID:
        """The firm whose trail is written."""

    @property
    def user_id(self) -> UUID | None:
        """The user, or None for the system."""

    @property
    def actor(self) -> str:
        """The user's address, or the system's reason."""

    @property
    def channel(self) -> str:
        """desk, api, command, worker or beat."""


def record(
    who: Actor,
    action: str,
    *,
    object_type: str = "",
    object_id: object = "",
    detail: Mapping[str, Any] | None = None,
) -> AuditEvent:
    """Add one act to the firm's trail, in the caller's transaction and firm scope.

    Writers of one firm take turns from here to their commit, so call it last.
    """
    with connections[DEFAULT_DB_ALIAS].cursor() as cursor:
        cursor.execute(
            "SELECT pg_advisory_xact_lock(hashtextextended('audit ' || %s, 0)), clock_timestamp()",
            [str(who.firm_id)],
        )
        now = cursor.fetchone()[1]
    last = AuditEvent.objects.filter(firm_id=who.firm_id).order_by("-number").first()
    event = AuditEvent(
        firm_id=who.firm_id,
        number=last.number + 1 if last else 1,
        at=now,
        by_id=who.user_id,
        actor=who.actor[:200],
        channel=who.channel,
        action=action,
        object_type=object_type,
        object_id=str(object_id),
        detail=json.loads(json.dumps(dict(detail or {}), default=str)),
        previous=last.digest if last else START,
    )
    event.digest = digest_of(event)
    event.save(force_insert=True)
    return event


def digest_of(event: AuditEvent) -> str:
    """sha256 over the previous digest and the row's own content, as canonical JSON."""
    at: datetime = event.at
    content = [
        event.previous,
        str(event.firm_id),
        event.number,
        at.astimezone(UTC).isoformat(),
        str(event.by_id) if event.by_id else None,
        event.actor,
        event.channel,
        event.action,
        event.object_type,
        event.object_id,
        event.detail,
    ]
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return sha256(text.encode()).hexdigest()


def broken_links(firm_id: UUID) -> Iterator[tuple[int, str]]:
    """(number, what is wrong) for every row of a firm's trail that does not fit the one before."""
    number, previous = 0, START
    for event in AuditEvent.objects.filter(firm_id=firm_id).order_by("number").iterator():
        number += 1
        if event.number != number:
            yield event.number, f"number {number} is missing"
            number = event.number
        if event.previous != previous:
            yield event.number, "the row does not name the row before it"
        if event.digest != digest_of(event):
            yield event.number, "the row's content does not match its digest"
        previous = event.digest
