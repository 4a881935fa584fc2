"""What a member sets for themselves, and what a principal sets for the firm's mail."""

from __future__ import annotations

import base64
import secrets
from hashlib import sha256
from uuid import UUID

from django.db import connection
from django.db.models.functions import Now

from config import audit, outbox
from config.models import OutboxMessage
from config.problems import BadInput, Problem
from planning.access import Access, NotVisibleError
from planning.models import Membership
from reports.models import CalendarFeed, NoticePreference, NoticeRules
from reports.models.notices import DIGESTS
from reports.models.packets import LANGUAGES

ASKED_AT_MOST = 30
WINDOW_SECONDS = 600


def set_preference(*, access: Access, digest: str, language: str) -> NoticePreference:
    """Set how often the member gets a digest, and its language. Raises BadInput."""
    access.require("notice.own")
    problems = []
    if digest not in DIGESTS:
        text = f"{digest!r} is not a choice"
        problems.append(Problem("notices", "digest", text, "Choose off, daily or weekly"))
    if language not in LANGUAGES:
        text = f"{language!r} is not a language here"
        problems.append(Problem("notices", "language", text, "Choose en or fr"))
    if problems:
        raise BadInput(problems)
    with access.opened():
        row, _ = NoticePreference.objects.update_or_create(
            firm_id=access.firm_id,
            membership_id=access.membership_id,
            defaults={"digest": digest, "language": language, "changed_at": Now()},
        )
        detail = {"digest": digest, "language": language}
        audit.record(
            access,
            "notice.preference",
            object_type="membership",
            object_id=access.membership_id,
            detail=detail,
        )
    return row


def set_details(*, access: Access, details: bool) -> None:
    """Let mail name clients and amounts, or not, for the whole firm."""
    access.require("message.manage")
    with access.opened():
        NoticeRules.objects.update_or_create(
            firm_id=access.firm_id, defaults={"details_in_mail": details}
        )
        audit.record(
            access,
            "notice.details",
            object_type="firm",
            object_id=access.firm_id,
            detail={"details_in_mail": details},
        )


def retry_message(*, access: Access, message_id: UUID) -> None:
    """Send an unknown or dead message again; one in another state stays as it is.

    Raises NotVisibleError when the firm has no such message.
    """
    access.require("message.manage")
    with access.opened():
        if not access.scope(OutboxMessage.objects.filter(pk=message_id)).exists():
            raise NotVisibleError("no such message")
        if outbox.retry(firm_id=access.firm_id, message_id=message_id):
            audit.record(
                access, "message.retry", object_type="outbox_message", object_id=message_id
            )


def make_feed(*, access: Access, language: str, names: bool) -> str:
    """Give the member's calendar a new secret token; the earlier one stops working.

    The token is told this once: only its digest is kept. Raises BadInput for an
    unknown language.
    """
    access.require("notice.own")
    if language not in LANGUAGES:
        text = f"{language!r} is not a language here"
        raise BadInput([Problem("calendar", "language", text, "Choose en or fr")])
    token = _new_token(access.firm_id)
    with access.opened():
        CalendarFeed.objects.update_or_create(
            firm_id=access.firm_id,
            membership_id=access.membership_id,
            defaults={"token_sha256": digest_of(token), "language": language, "names": names}
            | {"made_at": Now(), "asked": 0, "window_at": Now()},
        )
        audit.record(
            access,
            "calendar.made",
            object_type="membership",
            object_id=access.membership_id,
            detail={"names": names},
        )
    return token


def revoke_feed(*, access: Access) -> None:
    """Make the member's calendar address stop working at once."""
    access.require("notice.own")
    with access.opened():
        rows = CalendarFeed.objects.filter(membership_id=access.membership_id)
        if rows.exclude(token_sha256="").update(token_sha256=""):
            audit.record(
                access,
                "calendar.revoked",
                object_type="membership",
                object_id=access.membership_id,
            )


def _new_token(firm_id: UUID) -> str:
    """256 random bits behind the firm's id, which says in whose scope to look."""
    raw = firm_id.bytes + secrets.token_bytes(32)
    return base64.urlsafe_b64encode(raw).decode()


def firm_of_token(token: str) -> UUID | None:
    """The firm a token claims to be of; None when it has not the form of one."""
    try:
        raw = base64.urlsafe_b64decode(token.encode("ascii"))
    except ValueError:
        return None
    return UUID(bytes=raw[:16]) if len(raw) == 48 and len(token) == 64 else None


def digest_of(token: str) -> str:
    """What is kept of a token. It holds 256 random bits, so a plain digest is enough."""
    return sha256(token.encode()).hexdigest()


def open_feed(*, token: str) -> tuple[CalendarFeed, Access] | None:
    """The feed of a token and its member's access, asked anew; None when there is none.

    Within the firm's scope.
    """
    feed = CalendarFeed.objects.filter(token_sha256=digest_of(token)).first()
    if feed is None:
        return None
    member = Membership.objects.select_related("user").get(pk=feed.membership_id)
    access = Access.for_member(member, channel="desk")
    if access is None or not access.can("notice.own"):
        return None
    return feed, access


def count_request(feed: CalendarFeed) -> bool:
    """Count one request of a feed; whether it is within 30 in ten minutes."""
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE reports_calendarfeed SET"
            " asked = CASE WHEN window_at < clock_timestamp() - make_interval(secs => %(span)s)"
            "              THEN 1 ELSE asked + 1 END,"
            " window_at = CASE WHEN window_at < clock_timestamp() - make_interval(secs => %(span)s)"
            "                  THEN clock_timestamp() ELSE window_at END"
            " WHERE id = %(id)s RETURNING asked",
            {"span": WINDOW_SECONDS, "id": feed.pk},
        )
        asked = int(cursor.fetchone()[0])
    return asked <= ASKED_AT_MOST
