"""Messages leave once each, or say why not: claims, leases, fences, backoff, kills."""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from email import message_from_bytes
from pathlib import Path
from uuid import UUID

import pytest
from django.db import connection, connections
from django.test import override_settings

from config import delivery, mailing, outbox
from config.database import firm_scope
from config.faults import EXIT_CODE
from config.models import OutboxMessage
from planning.services.firms import create_firm
from tests.ledger.services.closing import book
from tests.sinks import MailSink, mail_sink

TO = "iona@lockkeepers.example"
DAY = datetime(2026, 11, 25, 11, tzinfo=UTC)


@pytest.fixture
def sink(settings):
    with mail_sink() as found:
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", found.port
        settings.REDIS_URL = "redis://127.0.0.1:1/0"
        yield found


@pytest.fixture
def firm(db) -> UUID:
    return create_firm(name="Lockkeepers").pk


def write(firm: UUID, key: str = "digest:1", **more) -> OutboxMessage:
    """One composed message in the outbox."""
    content = mailing.compose(
        firm_id=firm,
        dedupe_key=key,
        recipient=TO,
        subject="Ce qui vous attend, été 2026",
        text="deux ménages\n.\nà voir\n",
        html="<p>deux ménages</p>",
        language="fr",
        at=DAY,
    )
    with firm_scope(firm):
        outbox.enqueue(
            firm_id=firm,
            dedupe_key=key,
            kind="digest",
            channel="mail",
            recipient=TO,
            content=content,
            **more,
        )
        return OutboxMessage.objects.get(dedupe_key=key)


def send(row: OutboxMessage) -> str | None:
    return delivery.send_message(firm_id=row.firm_id, message_id=row.pk)


def again(row: OutboxMessage) -> OutboxMessage:
    with firm_scope(row.firm_id):
        return OutboxMessage.objects.get(pk=row.pk)


def make_due(row: OutboxMessage, **changes) -> None:
    """As if the wait, or the lease, were over."""
    past = datetime.now(UTC) - timedelta(seconds=5)
    with firm_scope(row.firm_id):
        OutboxMessage.objects.filter(pk=row.pk).update(
            **changes or {"due_at": past, "hinted_at": None}
        )


def test_a_message_goes_out_once_byte_for_byte(firm, sink: MailSink):
    row = write(firm)
    assert send(row) == "sent"
    assert send(row) is None
    assert sink.received == [row.content.encode("ascii")]
    mail = message_from_bytes(sink.received[0])
    assert mail["Message-ID"] == mailing.message_id(firm, "digest:1")
    assert mail["To"] == TO
    assert "ménages" in mail.get_payload(0).get_payload(decode=True).decode("utf-8")
    assert again(row).settled_at is not None


def test_composing_again_gives_the_same_bytes_and_writing_again_the_same_row(firm):
    first = write(firm)
    second = write(firm)
    assert first.pk == second.pk
    assert first.content == second.content
    other = write(create_firm(name="Bargees").pk)
    assert other.content != first.content


@pytest.mark.parametrize("field", ["subject", "recipient"])
def test_a_line_break_cannot_reach_a_header(firm, field):
    words = {"subject": "x", "recipient": TO} | {field: "a@b.example\r\nBcc: spy@b.example"}
    with pytest.raises(ValueError, match=r"linefeed|newline|header"):
        mailing.compose(
            firm_id=firm, dedupe_key="k", text="", html="", language="en", at=DAY, **words
        )


def test_without_a_mail_server_a_message_is_kept(firm, settings):
    settings.EMAIL_HOST = ""
    row = write(firm)
    assert send(row) is None
    assert delivery.sweep_firm(firm) == 0
    assert again(row).state == "new"
    assert again(row).attempt == 0


def test_a_refusal_waits_longer_each_time_and_ends(firm, sink: MailSink):
    sink.answer = b"451 secret words of the server"
    row = write(firm)
    waits = []
    for _ in range(outbox.settings.OUTBOX_MAX_ATTEMPTS):
        before = datetime.now(UTC)
        state = send(row)
        row = again(row)
        waits.append(round((row.due_at - before).total_seconds()))
        assert "secret" not in row.error
        make_due(row)
    assert state == "dead"
    assert row.error == "SMTPDataError 451"
    assert waits[:4] == [60, 300, 900, 1500]
    assert sum(waits[:4]) < 3600


def test_a_lasting_refusal_is_not_tried_again(firm, sink: MailSink):
    sink.recipient_answer = b"550 no such person"
    row = write(firm)
    assert send(row) == "dead"
    assert again(row).error == "recipient refused 550"
    sink.recipient_answer = b"250 ok"
    with firm_scope(firm):
        assert outbox.retry(firm_id=firm, message_id=row.pk)
    assert send(row) == "sent"
    with firm_scope(firm):
        assert not outbox.retry(firm_id=firm, message_id=row.pk)


def test_a_server_that_hangs_up_leaves_the_rest_to_the_kind_of_message(firm, sink: MailSink):
    sink.hang_up = True
    often, once = write(firm, "often"), write(firm, "once", at_most_once=True)
    assert send(often) == "new"
    assert send(once) == "unknown"
    assert len(sink.received) == 2


def test_nobody_answers(firm, settings):
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 1
    row = write(firm)
    assert send(row) == "new"
    assert again(row).error == "ConnectionRefusedError"


def test_a_sender_that_lost_its_lease_settles_nothing(firm, sink: MailSink):
    row = write(firm)
    with firm_scope(firm):
        claimed = outbox.claim(row.pk)
        assert claimed is not None
    make_due(row, lease_until=datetime.now(UTC) - timedelta(seconds=1))
    assert delivery.sweep_firm(firm) == 1
    assert send(row) == "sent"
    with firm_scope(firm):
        assert outbox.settle(claimed, outbox.Outcome("refused", "late")) is None
    assert again(row).state == "sent"


def test_a_second_hint_waits(firm, sink: MailSink):
    write(firm)
    assert delivery.sweep_firm(firm) == 1
    assert delivery.sweep_firm(firm) == 0


def test_another_firm_cannot_send_it(firm, sink: MailSink):
    row = write(firm)
    other = create_firm(name="Bargees").pk
    assert delivery.send_message(firm_id=other, message_id=row.pk) is None
    with firm_scope(other):
        assert not outbox.retry(firm_id=other, message_id=row.pk)
        assert OutboxMessage.objects.count() == 0
    assert sink.received == []


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_two_senders_at_once_take_each_message_once(sink: MailSink):
    firm = create_firm(name="Lockkeepers").pk
    rows = [write(firm, f"digest:{number}") for number in range(20)]

    def work(_number: int) -> list[str | None]:
        try:
            return [send(row) for row in rows]
        finally:
            connections.close_all()

    with ThreadPoolExecutor(4) as pool:
        states = [state for found in pool.map(work, range(4)) for state in found]
    assert states.count("sent") == 20
    assert states.count(None) == 60
    assert sorted(sink.received) == sorted(row.content.encode() for row in rows)


SENDER = """
import sys, uuid, django
django.setup()
from config.delivery import send_message
send_message(firm_id=uuid.UUID(sys.argv[1]), message_id=uuid.UUID(sys.argv[2]))
"""


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
@pytest.mark.parametrize(
    ("fault", "copies"), [("outbox.claimed", 1), ("outbox.delivered", 2), ("outbox.settled", 1)]
)
def test_a_killed_sender_loses_nothing_and_a_copy_is_the_same_message(
    sink: MailSink, fault: str, copies: int, tmp_path: Path
):
    firm = create_firm(name="Lockkeepers").pk
    often, once = write(firm, "often"), write(firm, "once", at_most_once=True)
    for row in (often, once):
        killed = subprocess.run(
            [sys.executable, "-c", SENDER, str(firm), str(row.pk)],
            env=book.environment(
                TOWPATH_FAULT=fault,
                TOWPATH_OUTBOX_LEASE="0.001",
                TOWPATH_SMTP_URL=f"smtp://127.0.0.1:{sink.port}",
                REDIS_URL="redis://127.0.0.1:1/0",
            ),
            cwd=book.ROOT,
            capture_output=True,
            timeout=60,
            check=False,
        )
        assert killed.returncode == EXIT_CODE, killed.stderr.decode()[-2000:]
    delivery.sweep_firm(firm)
    send(often)
    send(once)
    assert again(often).state == "sent"
    assert sink.received.count(often.content.encode()) == copies
    assert len({message_from_bytes(one)["Message-ID"] for one in sink.received}) <= 2
    expected = "sent" if fault == "outbox.settled" else "unknown"
    assert again(once).state == expected
    assert sink.received.count(once.content.encode()) == (0 if fault == "outbox.claimed" else 1)


def test_the_log_says_nothing_of_what_was_sent(firm, settings, caplog):
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 1
    settings.EMAIL_HOST_USER, settings.EMAIL_HOST_PASSWORD = "postmaster", "hunter2-of-the-mail"
    row = write(firm)
    with override_settings(EMAIL_PORT="not a port"), caplog.at_level("DEBUG"):
        send(row)
    text = caplog.text + again(row).error
    for secret in ("hunter2", TO, "ménages", "postmaster"):
        assert secret not in text


def test_the_database_refuses_a_lease_without_a_sender(firm):
    row = write(firm)
    from django.db import IntegrityError

    with pytest.raises(IntegrityError, match="outbox_sending_has_a_lease"), firm_scope(firm):
        OutboxMessage.objects.filter(pk=row.pk).update(state="sending")
    assert connection.vendor == "postgresql"
