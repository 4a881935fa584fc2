"""Telling a firm's own programs what happened: signed, ids only, through the outbox.

An endpoint's secret is derived from the server's key, so no table, dump or
backup holds it. When the server's key is replaced, the old one must stay among
`TOWPATH_OLD_SECRET_KEYS` until the endpoint's secret is renewed.
"""

from __future__ import annotations

import base64
import hmac
import http.client
import json
import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from uuid import UUID

from django.conf import settings

from config import outbound
from config.models import WebhookEndpoint
from config.outbox import Outcome, enqueue

SIGNATURE = "Towpath-Signature"
PREFIX = "tps_"


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened: its name, a key that is unique to it, and ids and references."""

    name: str
    key: str
    refs: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Endpoint:
    """Where to send, and with what secret; `secret` empty when it cannot be made again."""

    url: str
    active: bool
    secret: str


def has_subscribers() -> bool:
    """Whether any endpoint of the firm in scope is on; asked before ids are looked up."""
    return bool(WebhookEndpoint.objects.filter(active=True).exists())


def emit(firm_id: UUID, events: Iterable[Event]) -> int:
    """Write each event for each endpoint that asked for it, in the caller's transaction; how many.

    Within the firm's scope. The same event twice is one message per endpoint.
    """
    endpoints = list(WebhookEndpoint.objects.filter(firm_id=firm_id, active=True).order_by("pk"))
    written = 0
    for event in events if endpoints else ():
        for endpoint in endpoints:
            if event.name not in endpoint.events:
                continue
            key = f"{event.name}:{event.key}:{endpoint.pk}"
            written += enqueue(
                firm_id=firm_id,
                dedupe_key=key,
                kind=event.name,
                channel="webhook",
                recipient=endpoint.url,
                content=_body(firm_id, key, event),
                endpoint_id=endpoint.pk,
            )
    return written


def _body(firm_id: UUID, key: str, event: Event) -> str:
    """The JSON that is sent; its id is the same at every attempt."""
    mark = sha256(f"{firm_id} {key}".encode()).hexdigest()[:32]
    content = {"id": f"evt_{mark}", "event": event.name, "data": dict(event.refs)}
    return json.dumps(content, sort_keys=True, separators=(",", ":"))


def derived_secret(endpoint_id: UUID, generation: int, key: str) -> str:
    """The secret of one generation of an endpoint under a server key."""
    said = f"towpath webhook {endpoint_id} {generation}".encode()
    made = hmac.new(key.encode(), said, sha256).digest()
    return PREFIX + base64.urlsafe_b64encode(made).decode().rstrip("=")


def secret_check(secret: str) -> str:
    """What is kept of a secret: enough to know it again."""
    return sha256(f"towpath webhook check {secret}".encode()).hexdigest()


def endpoint_of(endpoint_id: UUID) -> Endpoint:
    """An endpoint ready to be sent to, within the firm's scope."""
    row = WebhookEndpoint.objects.get(pk=endpoint_id)
    secret = ""
    for key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS):
        made = derived_secret(row.pk, row.generation, key)
        if hmac.compare_digest(secret_check(made), row.secret_check):
            secret = made
            break
    return Endpoint(row.url, row.active, secret)


def signature(secret: str, timestamp: int, body: bytes) -> str:
    """The header's value: t=<unix seconds>,v1=<hex HMAC-SHA256 of "t.body">."""
    made = hmac.new(secret.encode(), f"{timestamp}.".encode() + body, sha256).hexdigest()
    return f"t={timestamp},v1={made}"


def post(endpoint: Endpoint, content: str) -> Outcome:
    """Send one event. An answer of 200 to 299 is a delivery; nothing else is."""
    if not endpoint.active:
        return Outcome("refused", "the endpoint is switched off", lasting=True)
    if not endpoint.secret:
        return Outcome("refused", "the secret must be renewed", lasting=True)
    body = content.encode()
    headers = {
        "Content-Type": "application/json",
        "User-Agent": "Towpath",
        SIGNATURE: signature(endpoint.secret, int(time.time()), body),
    }
    try:
        status = outbound.post(endpoint.url, body, headers)
    except outbound.RefusedAddressError as error:
        return Outcome("refused", str(error))
    except (OSError, http.client.HTTPException) as error:
        return Outcome("uncertain", type(error).__name__)
    if 200 <= status < 300:
        return Outcome("sent", f"answered {status}")
    return Outcome("refused", f"answered {status}")
