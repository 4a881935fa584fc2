"""The addresses of a firm's own programs that are told of events."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from uuid import UUID

from django.conf import settings

from config import audit, outbound, webhooks
from config.models import WebhookEndpoint
from config.problems import BadInput, Problem
from planning.access import Access, NotVisibleError
from reports.packets.notice_words import EVENTS

ENDPOINTS_AT_MOST = 10


def add_endpoint(*, access: Access, url: str, events: Sequence[str]) -> tuple[WebhookEndpoint, str]:
    """Add an endpoint; the row and its secret, which is told this once.

    Raises BadInput for an address that is not plain https or lies in a private
    network, for unknown events, for none, and beyond ten endpoints.
    """
    access.require("message.manage")
    problems = _problems(url, events)
    with access.opened():
        if WebhookEndpoint.objects.filter(active=True).count() >= ENDPOINTS_AT_MOST:
            text = f"there are {ENDPOINTS_AT_MOST} already"
            problems.append(Problem("webhook", "url", text, "Switch one off first"))
        if problems:
            raise BadInput(problems)
        endpoint_id = uuid.uuid4()
        secret = webhooks.derived_secret(endpoint_id, 1, settings.SECRET_KEY)
        row = WebhookEndpoint.objects.create(
            id=endpoint_id,
            firm_id=access.firm_id,
            url=url,
            events=[one for one in EVENTS if one in events],
            secret_check=webhooks.secret_check(secret),
            by_id=access.user_id,
        )
        audit.record(
            access,
            "webhook.add",
            object_type="webhook_endpoint",
            object_id=row.pk,
            detail={"events": row.events},
        )
    return row, secret


def renew_secret(*, access: Access, endpoint_id: UUID) -> tuple[WebhookEndpoint, str]:
    """Give an endpoint a new secret; the earlier one signs no more. Raises NotVisibleError."""
    access.require("message.manage")
    with access.opened():
        row = _locked(access, endpoint_id)
        row.generation += 1
        secret = webhooks.derived_secret(row.pk, row.generation, settings.SECRET_KEY)
        row.secret_check = webhooks.secret_check(secret)
        row.save(update_fields=["generation", "secret_check"])
        audit.record(access, "webhook.renew", object_type="webhook_endpoint", object_id=endpoint_id)
    return row, secret


def switch_off(*, access: Access, endpoint_id: UUID) -> None:
    """Stop telling an endpoint anything, waiting messages included. Raises NotVisibleError."""
    access.require("message.manage")
    with access.opened():
        row = _locked(access, endpoint_id)
        if row.active:
            row.active = False
            row.save(update_fields=["active"])
            audit.record(
                access, "webhook.off", object_type="webhook_endpoint", object_id=endpoint_id
            )


def _locked(access: Access, endpoint_id: UUID) -> WebhookEndpoint:
    rows = access.scope(WebhookEndpoint.objects.select_for_update(no_key=True))
    row = rows.filter(pk=endpoint_id).first()
    if row is None:
        raise NotVisibleError("no such endpoint")
    return row


def _problems(url: str, events: Sequence[str]) -> list[Problem]:
    found = []
    try:
        parts = outbound.judged(url)
        outbound.public_address(parts.hostname or "", parts.port or 443)
    except outbound.RefusedAddressError as refused:
        remedy = "Give an https address that can be reached from the internet"
        found.append(Problem("webhook", "url", str(refused), remedy))
    if not events or not set(events) <= set(EVENTS):
        remedy = f"Choose among {', '.join(EVENTS)}"
        found.append(Problem("webhook", "events", "no event, or an unknown one", remedy))
    return found
