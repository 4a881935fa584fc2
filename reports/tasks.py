"""Doorways for the workers into notices: ids and dates in, one call each."""

from __future__ import annotations

from datetime import date
from uuid import UUID

from celery import shared_task

from config import delivery
from planning.selectors.firms import firm_ids
from reports.services import digests


@shared_task(name="reports.tasks.sweep_messages")
def sweep_messages() -> None:
    """Free and hint the messages of every firm."""
    for firm_id in firm_ids():
        delivery.sweep_firm(firm_id)


@shared_task(name="reports.tasks.prepare_digests")
def prepare_digests() -> None:
    """Send the workers every digest whose turn it is."""
    digests.prepare_all()


@shared_task(name="reports.tasks.make_digest")
def make_digest(firm_id: str, membership_id: str, day: str) -> None:
    """Write one member's digest of one day."""
    digests.make_digest(
        firm_id=UUID(firm_id), membership_id=UUID(membership_id), day=date.fromisoformat(day)
    )
