"""Digests by mail: whose turn it is, and writing one into the outbox.

A digest is keyed on the member and the day, so however often and by however
many it is made, one row is written. The day is the firm's own.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import connection
from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext as _

from config import formatting, mailing, outbox
from config.database import firm_scope
from config.models import OutboxMessage
from config.sending import send_hint
from planning.access import Access
from planning.models import Firm, Membership
from planning.selectors.firms import firm_ids
from reports.models import NoticePreference, NoticeRules
from reports.selectors.digest import digest_of

MAKE = "reports.tasks.make_digest"
NOT_BEFORE = time(6)
"""Digests are made from six in the morning on (common practice, no source)."""


def firm_now() -> datetime:
    """The firm's own date and time by the database's clock, without a zone. In its scope."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp() AT TIME ZONE timezone FROM planning_firm")
        now: datetime = cursor.fetchone()[0]
    return now


def prepare_all() -> int:
    """Send the workers every digest whose turn it is, of every firm; how many."""
    sent = 0
    for firm_id in firm_ids():
        with firm_scope(firm_id):
            due = due_digests(firm_now())
        for membership_id, day in due:
            sent += send_hint(
                MAKE, str(firm_id), str(membership_id), day.isoformat(), queue=outbox.QUEUE
            )
    return sent


def due_digests(now: datetime) -> tuple[tuple[UUID, date], ...]:
    """Members and days of digests that are due at a firm's own `now` and not written yet.

    A weekly digest is Monday's; a server that slept on Monday makes it up later
    in the week for those who had asked before that Monday began.
    """
    if now.time() < NOT_BEFORE:
        return ()
    today = now.date()
    monday = today - timedelta(days=today.weekday())
    zone = ZoneInfo(Firm.objects.values_list("timezone", flat=True).get())
    wanted = []
    for row in NoticePreference.objects.exclude(digest="off").order_by("pk"):
        day = today if row.digest == "daily" else monday
        if row.digest == "daily" or today == monday or _asked_before(row, monday, zone):
            wanted.append((row.membership_id, day))
    keys = {dedupe_key(member, day) for member, day in wanted}
    written = OutboxMessage.objects.filter(dedupe_key__in=keys)
    have = set(written.values_list("dedupe_key", flat=True))
    return tuple(one for one in wanted if dedupe_key(*one) not in have)


def _asked_before(row: NoticePreference, monday: date, zone: ZoneInfo) -> bool:
    changed: datetime = row.changed_at
    return changed.astimezone(zone).date() < monday


def dedupe_key(membership_id: UUID, day: date) -> str:
    """What makes a digest the only one of its member and day."""
    return f"digest:{membership_id}:{day.isoformat()}"


def make_digest(*, firm_id: UUID, membership_id: UUID, day: date) -> bool:
    """Write a member's digest of a day into the outbox; whether it was new.

    Nothing is written for a member who is off, may not see findings, or has
    switched digests off meanwhile.
    """
    with firm_scope(firm_id):
        member = Membership.objects.select_related("user").filter(pk=membership_id).first()
        wish = NoticePreference.objects.filter(membership_id=membership_id).first()
        access = None if member is None else Access.for_member(member, channel="worker")
        if access is None or not access.can("notice.own") or wish is None or wish.digest == "off":
            return False
        key = dedupe_key(membership_id, day)
        if OutboxMessage.objects.filter(dedupe_key=key).exists():
            return False
        content = _content(access, wish, day, key)
        return outbox.enqueue(
            firm_id=firm_id,
            dedupe_key=key,
            kind="digest",
            channel="mail",
            recipient=access.actor,
            content=content,
        )


def _content(access: Access, wish: NoticePreference, day: date, key: str) -> str:
    details = NoticeRules.objects.filter(details_in_mail=True).exists()
    firm = Firm.objects.get(pk=access.firm_id)
    with translation.override(wish.language):
        context = {
            "digest": digest_of(access, day),
            "details": details,
            "weekly": wish.digest == "weekly",
            "firm": firm.name,
            "language": wish.language,
        }
        shown = formatting.long_day(day, wish.language).replace(formatting.NO_BREAK, " ")
        return mailing.compose(
            firm_id=access.firm_id,
            dedupe_key=key,
            recipient=access.actor,
            subject=_("Towpath: what needs you, %(day)s") % {"day": shown},
            text=render_to_string("reports/mail/digest.txt", context),
            html=render_to_string("reports/mail/digest.html", context),
            language=wish.language,
            at=datetime.combine(day, NOT_BEFORE, ZoneInfo(firm.timezone)).astimezone(UTC),
        )
