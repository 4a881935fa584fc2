"""The workers' promises: nothing is lost with a worker, nothing runs twice at once."""

from __future__ import annotations

import socket
import time

import pytest
from kombu.exceptions import OperationalError

from config import celery
from config.celery import app


def test_a_message_is_acknowledged_only_after_its_work():
    assert app.conf.task_acks_late
    assert app.conf.task_reject_on_worker_lost
    assert app.conf.worker_prefetch_multiplier == 1


def test_a_running_task_cannot_be_given_to_a_second_worker():
    limits = (
        app.conf.task_soft_time_limit,
        app.conf.task_time_limit,
        celery.LEASE_SECONDS,
        app.conf.broker_transport_options["visibility_timeout"],
    )
    assert list(limits) == sorted(set(limits))


def test_results_are_not_kept_and_messages_are_json():
    assert app.conf.result_backend is None
    assert app.conf.task_ignore_result
    assert app.conf.accept_content == ["json"]
    assert app.conf.task_serializer == "json"


def test_the_schedule_is_in_utc_and_names_tasks_that_exist():
    app.loader.import_default_modules()
    assert app.conf.timezone == "UTC"
    wanted = {entry["task"] for entry in app.conf.beat_schedule.values()}
    assert wanted == {
        *("ledger.tasks.schedule_closes", "ledger.tasks.sweep"),
        *("reports.tasks.sweep_messages", "reports.tasks.prepare_digests"),
    }
    assert wanted <= set(app.tasks)


def test_every_queue_is_one_the_worker_listens_to():
    from config import supervisor

    declared = {queue.name for queue in app.conf.task_queues}
    assert declared == set(celery.QUEUES) == set(supervisor.QUEUES.split(","))
    used = {entry["options"]["queue"] for entry in app.conf.beat_schedule.values()}
    assert used <= declared


@pytest.fixture
def dead_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def test_sending_to_a_broker_that_is_away_fails_soon(dead_port: int):
    begun = time.monotonic()
    with (
        app.connection_for_write(f"redis://127.0.0.1:{dead_port}/0") as connection,
        pytest.raises(OperationalError),
    ):
        app.send_task("nothing.at_all", connection=connection, retry=False)
    assert time.monotonic() - begun < 5
