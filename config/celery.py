"""The background workers' application.

A message is a hint that carries an id; every promise rests in PostgreSQL. So
results are not kept, a message is acknowledged only after its work, and a lost
one is sent again by the sweeper, which looks for rows that nobody works on.

Times nest: soft limit 540 s < hard limit 600 s < lease on a claimed row 660 s
< redelivery of an unacknowledged message 900 s. A task can therefore not be
running when its row or its message is given to another worker.
"""

from __future__ import annotations

import os

from celery import Celery
from celery.schedules import crontab, schedule
from kombu import Queue

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

from django.conf import settings

SOFT_LIMIT_SECONDS = 540
HARD_LIMIT_SECONDS = 600
LEASE_SECONDS = 660
REDELIVERY_SECONDS = 900

CLOSE, PDF, MAIL, PARSE = "close", "pdf", "mail", "parse"
TICK = "tick"
"""The scheduler's and sweeper's own queue: a long line of closes must not hold them up."""
QUEUES = (CLOSE, PDF, MAIL, PARSE, TICK)

app = Celery("towpath")
app.conf.update(
    broker_url=settings.REDIS_URL,
    broker_connection_retry_on_startup=True,
    broker_transport_options={
        "global_keyprefix": "towpath:",
        "visibility_timeout": REDELIVERY_SECONDS,
        "unacked_restore_interval": 10,
        "unacked_restore_throttle": 1,
        "socket_keepalive": True,
        "socket_connect_timeout": 2,
        # Sending must not hang a web request or a commit hook when the broker is away:
        # the sweeper sends again what could not be sent.
        "max_retries": 1,
        "interval_start": 0.1,
        "interval_step": 0.1,
        "interval_max": 0.2,
    },
    task_publish_retry_policy={"max_retries": 1, "interval_start": 0.1, "interval_max": 0.2},
    result_backend=None,
    task_ignore_result=True,
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    task_time_limit=HARD_LIMIT_SECONDS,
    task_soft_time_limit=SOFT_LIMIT_SECONDS,
    task_serializer="json",
    accept_content=["json"],
    task_default_queue=CLOSE,
    task_create_missing_queues=False,
    task_queues=[Queue(name) for name in QUEUES],
    worker_prefetch_multiplier=1,
    worker_cancel_long_running_tasks_on_connection_loss=True,
    worker_soft_shutdown_timeout=30,
    worker_max_tasks_per_child=200,  # PDF libraries keep memory
    worker_hijack_root_logger=False,
    worker_redirect_stdouts=False,
    worker_send_task_events=False,
    enable_utc=True,
    timezone="UTC",
    # No schedule file: all entries are safe to run at any time and any number of times.
    beat_scheduler="celery.beat:Scheduler",
    beat_max_loop_interval=5,
    beat_schedule={
        "schedule closes": {
            "task": "ledger.tasks.schedule_closes",
            "schedule": crontab(minute="*/10"),
            "options": {"queue": TICK, "expires": 540},
        },
        "sweep": {
            "task": "ledger.tasks.sweep",
            "schedule": schedule(run_every=60),
            "options": {"queue": TICK, "expires": 55},
        },
        "sweep messages": {
            "task": "reports.tasks.sweep_messages",
            "schedule": schedule(run_every=60),
            "options": {"queue": TICK, "expires": 55},
        },
        "prepare digests": {
            "task": "reports.tasks.prepare_digests",
            "schedule": crontab(minute="*/10"),
            "options": {"queue": TICK, "expires": 540},
        },
    },
)
app.autodiscover_tasks()
