"""The outbox: a message is a row of the act it tells of; who sends it, and when, is decided here.

Writing a message belongs to the caller's transaction. Sending is claim, commit,
send, settle: between the two transactions the sender may die anywhere. Most
messages are sent at least once, with identical bytes, so that a second copy is
recognised; one marked `at_most_once` becomes `unknown` instead of being sent again.
"""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.conf import settings
from django.db import connection

from config.sending import send_after_commit

SEND = "config.tasks.send_message"
QUEUE = "mail"
# Five attempts within 46 minutes: an hour after it was written, a message is settled
# or stands on the screen of messages.
_BACKOFF_SECONDS = (60, 300, 900, 1500)
HINT_SECONDS = 60

_ENQUEUE = """
    INSERT INTO config_outboxmessage
           (id, firm_id, dedupe_key, kind, channel, recipient, endpoint_id, content,
            at_most_once, state, fence, attempt, error)
    VALUES (gen_random_uuid(), %(firm)s, %(key)s, %(kind)s, %(channel)s, %(recipient)s,
            %(endpoint)s, %(content)s, %(at_most_once)s, 'new', 0, 0, '')
    ON CONFLICT (firm_id, dedupe_key) DO NOTHING
 RETURNING id
"""
_CLAIM = """
    UPDATE config_outboxmessage
       SET state = 'sending', fence = fence + 1, attempt = attempt + 1, error = '',
           lease_until = clock_timestamp() + make_interval(secs => %(lease)s)
     WHERE id = (SELECT id FROM config_outboxmessage
                  WHERE id = %(id)s AND state = 'new' AND due_at <= clock_timestamp()
                    AND channel = ANY(%(channels)s)
                  FOR UPDATE SKIP LOCKED)
 RETURNING id, fence, attempt, channel, recipient, endpoint_id, content, at_most_once
"""
_SETTLE = """
    UPDATE config_outboxmessage
       SET state = %(state)s, error = %(error)s, lease_until = NULL, hinted_at = NULL,
           due_at = clock_timestamp() + make_interval(secs => %(wait)s),
           settled_at = CASE WHEN %(state)s = 'new' THEN NULL ELSE clock_timestamp() END
     WHERE id = %(id)s AND fence = %(fence)s AND state = 'sending'
"""
_EXPIRE = """
    UPDATE config_outboxmessage
       SET state = CASE WHEN at_most_once THEN 'unknown'
                        WHEN attempt >= %(most)s THEN 'dead' ELSE 'new' END,
           error = 'the sender ended while sending', fence = fence + 1, lease_until = NULL,
           hinted_at = NULL, due_at = clock_timestamp(),
           settled_at = CASE WHEN at_most_once OR attempt >= %(most)s
                             THEN clock_timestamp() END
     WHERE id IN (SELECT id FROM config_outboxmessage
                   WHERE state = 'sending' AND lease_until < clock_timestamp()
                   FOR UPDATE SKIP LOCKED)
"""
_HINT = """
    UPDATE config_outboxmessage SET hinted_at = clock_timestamp()
     WHERE id IN (SELECT id FROM config_outboxmessage
                   WHERE state = 'new' AND due_at <= clock_timestamp()
                     AND channel = ANY(%(channels)s)
                     AND (hinted_at IS NULL
                          OR hinted_at < clock_timestamp() - make_interval(secs => %(again)s))
                   ORDER BY due_at LIMIT 500
                   FOR UPDATE SKIP LOCKED)
 RETURNING id
"""
_RETRY = """
    UPDATE config_outboxmessage
       SET state = 'new', attempt = 0, error = '', due_at = clock_timestamp(),
           hinted_at = NULL, settled_at = NULL
     WHERE id = %(id)s AND state IN ('unknown', 'dead')
"""


@dataclass(frozen=True, slots=True)
class Claim:
    """The right to send one message once, as long as the fence holds."""

    id: UUID
    fence: int
    attempt: int
    channel: str
    recipient: str
    endpoint_id: UUID | None
    content: str
    at_most_once: bool


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a delivery came to: `sent`, `refused` or `uncertain` (it may have arrived).

    `error` is a type and a number fit for a screen. `lasting`: another try would
    be refused again.
    """

    result: str
    error: str = ""
    lasting: bool = False


def channels() -> tuple[str, ...]:
    """The channels that can send; mail only when a mail server is named."""
    return ("mail", "webhook") if settings.EMAIL_HOST else ("webhook",)


def enqueue(
    *,
    firm_id: UUID,
    dedupe_key: str,
    kind: str,
    channel: str,
    recipient: str,
    content: str,
    endpoint_id: UUID | None = None,
    at_most_once: bool = False,
) -> bool:
    """Write a message in the caller's transaction and firm scope; whether it is a new one.

    The same key again changes nothing: the first content stands.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            _ENQUEUE,
            {
                "firm": firm_id,
                "key": dedupe_key,
                "kind": kind,
                "channel": channel,
                "recipient": recipient,
                "endpoint": endpoint_id,
                "content": content,
                "at_most_once": at_most_once,
            },
        )
        row = cursor.fetchone()
    if row is not None and channel in channels():
        send_after_commit(SEND, str(firm_id), str(row[0]), queue=QUEUE)
    return row is not None


def claim(message_id: UUID) -> Claim | None:
    """Take a message that is due; None when it is not, or somebody else has it."""
    values = {
        "id": message_id,
        "lease": settings.OUTBOX_LEASE_SECONDS,
        "channels": list(channels()),
    }
    with connection.cursor() as cursor:
        cursor.execute(_CLAIM, values)
        row = cursor.fetchone()
    return None if row is None else Claim(*row)


def settle(claimed: Claim, outcome: Outcome) -> str | None:
    """Record what a delivery came to; the state it left, None when the lease was lost."""
    state, wait = "new", 0
    if outcome.result == "sent":
        state = "sent"
    elif outcome.result == "uncertain" and claimed.at_most_once:
        state = "unknown"
    elif outcome.lasting or claimed.attempt >= settings.OUTBOX_MAX_ATTEMPTS:
        state = "dead"
    else:
        wait = _BACKOFF_SECONDS[min(claimed.attempt, len(_BACKOFF_SECONDS)) - 1]
    with connection.cursor() as cursor:
        cursor.execute(
            _SETTLE,
            {
                "state": state,
                "error": outcome.error[:200],
                "wait": wait,
                "id": claimed.id,
                "fence": claimed.fence,
            },
        )
        return state if cursor.rowcount == 1 else None


def release_expired() -> int:
    """Free the messages of senders that died: due again, unknown, or given up; how many."""
    with connection.cursor() as cursor:
        cursor.execute(_EXPIRE, {"most": settings.OUTBOX_MAX_ATTEMPTS})
        return int(cursor.rowcount)


def hint_due(firm_id: UUID) -> int:
    """Send the workers every due message that was not hinted a moment ago; how many."""
    with connection.cursor() as cursor:
        cursor.execute(_HINT, {"again": HINT_SECONDS, "channels": list(channels())})
        ids = [row[0] for row in cursor.fetchall()]
    for message_id in ids:
        send_after_commit(SEND, str(firm_id), str(message_id), queue=QUEUE)
    return len(ids)


def retry(*, firm_id: UUID, message_id: UUID) -> bool:
    """Make an unknown or dead message due again with fresh attempts; whether it was one."""
    with connection.cursor() as cursor:
        cursor.execute(_RETRY, {"id": message_id})
        found = cursor.rowcount == 1
    if found:
        send_after_commit(SEND, str(firm_id), str(message_id), queue=QUEUE)
    return found
