"""The one door to the broker: a hint, sent once the facts are committed.

A message holds a task's name and ids. It is sent after the transaction that
made it worth sending has committed, and it may fail: the sweep finds the same
row a minute later. So a broker that is away costs time and nothing else, and
after a first refusal this process does not knock again for a few seconds.
"""

from __future__ import annotations

import logging
import time
from functools import partial

from django.db import transaction

log = logging.getLogger(__name__)

REST_SECONDS = 10.0
_quiet_until = 0.0


def send_after_commit(task: str, *ids: str, queue: str) -> None:
    """Send `task` with `ids` to `queue` when the current transaction commits.

    Outside a transaction it is sent at once. Never raises for a broker that is
    away: no transaction fails and no request hangs because of it.
    """
    transaction.on_commit(partial(send_hint, task, *ids, queue=queue), robust=True)


def send_hint(task: str, *ids: str, queue: str) -> bool:
    """Send now, at best effort; whether the broker took it."""
    global _quiet_until  # noqa: PLW0603 - one broker per process, one rest after a refusal
    if time.monotonic() < _quiet_until:
        return False
    from kombu.exceptions import OperationalError

    from config.celery import app

    try:
        app.send_task(task, args=ids, queue=queue, ignore_result=True, retry=False)
    except (OperationalError, OSError) as error:
        _quiet_until = time.monotonic() + REST_SECONDS
        log.warning("broker away, the sweep will send %s again: %s", task, type(error).__name__)
        return False
    return True
