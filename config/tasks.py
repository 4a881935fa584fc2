"""Doorways for the workers into the outbox: ids in, one call each."""

from __future__ import annotations

from uuid import UUID

from celery import shared_task

from config import delivery


@shared_task(name="config.tasks.send_message")
def send_message(firm_id: str, message_id: str) -> None:
    """Send one message of a firm's outbox."""
    delivery.send_message(firm_id=UUID(firm_id), message_id=UUID(message_id))
