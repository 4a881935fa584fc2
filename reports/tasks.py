"""Doorways for the workers into notices and packets: ids and dates in, one call each."""

from __future__ import annotations

from datetime import date
from uuid import UUID

from celery import shared_task

from config import delivery
from planning.access import Access
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


@shared_task(name="reports.tasks.draw_packet")
def draw_packet(firm_id: str, packet_id: str) -> None:
    """Draw a packet's bytes. Charts and PDF are loaded here, after the fork."""
    from reports.services import packets

    access = Access.system(firm_id, "packet drawn", channel="worker")
    with access.opened():
        packets.draw_packet(access=access, packet_id=UUID(packet_id))
