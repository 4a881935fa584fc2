"""Answers kept under an Idempotency-Key, in the transaction of their effect."""

from __future__ import annotations

from datetime import timedelta

from django.db import connection
from django.utils import timezone

from planning.access import Access
from planning.models import StoredAnswer

KEPT = timedelta(days=7)
SWEPT_AT_ONCE = 100


class InFlightError(Exception):
    """A request with the same key is being worked on this moment."""


def take_key(*, access: Access, key: str) -> StoredAnswer | None:
    """Hold a key until the transaction ends; the answer kept under it, if there is one.

    Inside the firm's scope. Raises InFlightError while another transaction holds it.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_try_advisory_xact_lock(hashtextextended('answer ' || %s || ' ' || %s, 0))",
            [str(access.firm_id), key],
        )
        if not cursor.fetchone()[0]:
            raise InFlightError(key)
    old = StoredAnswer.objects.filter(recorded_at__lt=timezone.now() - KEPT)
    swept = old.order_by("recorded_at").select_for_update(skip_locked=True)[:SWEPT_AT_ONCE]
    StoredAnswer.objects.filter(pk__in=[one.pk for one in swept]).delete()
    fresh = StoredAnswer.objects.filter(recorded_at__gte=timezone.now() - KEPT)
    return fresh.filter(firm_id=access.firm_id, key=key).first()


def keep_answer(
    *, access: Access, key: str, request_digest: str, status: int, location: str, body: str
) -> None:
    """Keep the answer to a request, in the transaction that has its effect."""
    StoredAnswer.objects.filter(firm_id=access.firm_id, key=key).delete()
    StoredAnswer.objects.create(
        firm_id=access.firm_id,
        key=key,
        request_digest=request_digest,
        status=status,
        location=location,
        body=body,
    )
