"""Sending one message of the outbox: claim, commit, send, settle."""

from __future__ import annotations

import logging
from uuid import UUID

from config import mailing, outbox, webhooks
from config.database import firm_scope
from config.faults import fault_point

log = logging.getLogger(__name__)


def send_message(*, firm_id: UUID, message_id: UUID) -> str | None:
    """Send a message if it is due and free; the state it was left in, None if there was nothing.

    Opens scopes of its own. No transaction is open while the other side is spoken to.
    """
    with firm_scope(firm_id):
        claimed = outbox.claim(message_id)
        endpoint = None
        if claimed is not None and claimed.endpoint_id is not None:
            endpoint = webhooks.endpoint_of(claimed.endpoint_id)
    if claimed is None:
        return None
    fault_point("outbox.claimed")
    try:
        if endpoint is None:
            outcome = mailing.send(claimed.content, claimed.recipient)
        else:
            outcome = webhooks.post(endpoint, claimed.content)
    except Exception as error:
        # Whatever went wrong, the row says so; its text could quote the message.
        log.warning("message %s failed: %s", claimed.id, type(error).__name__)
        outcome = outbox.Outcome("uncertain", type(error).__name__)
    fault_point("outbox.delivered")
    with firm_scope(firm_id):
        state = outbox.settle(claimed, outcome)
    fault_point("outbox.settled")
    return state


def sweep_firm(firm_id: UUID) -> int:
    """Free what dead senders held and hint what is due, in scopes of its own; hints sent."""
    with firm_scope(firm_id):
        outbox.release_expired()
    with firm_scope(firm_id):
        return outbox.hint_due(firm_id)
