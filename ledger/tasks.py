"""Doorways for the workers: ids in, one service call each. A lost message costs a minute."""

from __future__ import annotations

from uuid import UUID

from celery import shared_task

from ledger.services.closing import running, scheduling, sweeping


@shared_task(name="ledger.tasks.close_item")
def close_item(firm_id: str, item_id: str) -> None:
    """Close the household of one row, up to all that is due."""
    running.run_item(firm_id=UUID(firm_id), item_id=UUID(item_id))


@shared_task(name="ledger.tasks.sweep")
def sweep() -> None:
    """Find again whatever was lost, for every firm."""
    sweeping.sweep_all()


@shared_task(name="ledger.tasks.schedule_closes")
def schedule_closes() -> None:
    """Make the rows of every month that is over, for every firm."""
    scheduling.schedule_all()
