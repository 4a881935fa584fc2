"""One POST to an address that a firm typed, without reaching into our own network.

The name is resolved here, every address it has must be a public one, and the
connection is made to the very address that was judged, so that a second answer
of the name server changes nothing. Redirects are not followed, variables that
name a proxy are not read, and what comes back is not kept.
"""

from __future__ import annotations

import http.client
import ipaddress
import socket
import ssl
from collections.abc import Mapping
from urllib.parse import SplitResult, urlsplit

from django.conf import settings

TIMEOUT_SECONDS = 10
ANSWER_BYTES = 4096
_NAT64 = ipaddress.ip_network("64:ff9b::/96")


class RefusedAddressError(Exception):
    """The address is not one that messages are sent to; the text says why."""


def judged(url: str) -> SplitResult:
    """An address in its parts. Raises RefusedAddressError unless it is plain https."""
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        raise RefusedAddressError("not an address") from None
    loopback = settings.WEBHOOK_ALLOW_LOOPBACK and parts.hostname in ("127.0.0.1", "localhost")
    if parts.scheme != "https" and not (loopback and parts.scheme == "http"):
        raise RefusedAddressError("not an https address")
    if not parts.hostname or parts.username is not None or parts.fragment or port == 0:
        raise RefusedAddressError("not a plain host with a path")
    if len(url) > 500 or any(not 32 < ord(one) < 127 for one in url):
        raise RefusedAddressError("too long, or holds signs an address may not hold")
    return parts


def public_address(host: str, port: int) -> str:
    """The first address of a host, all of which must be public. Raises RefusedAddressError."""
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        raise RefusedAddressError("the host name is not known") from None
    addresses = [str(one[4][0]) for one in found]
    if not addresses or not all(_is_public(one) for one in addresses):
        raise RefusedAddressError("the host lies in a private network")
    return addresses[0]


def _is_public(text: str) -> bool:
    address = ipaddress.ip_address(text.partition("%")[0])
    if isinstance(address, ipaddress.IPv6Address):
        inner = address.ipv4_mapped or address.sixtofour
        if address.teredo is not None or address in _NAT64:
            return False
        if inner is not None:
            address = inner
    if settings.WEBHOOK_ALLOW_LOOPBACK and address.is_loopback:
        return True
    return (
        address.is_global
        and not address.is_multicast
        and not address.is_reserved
        and not address.is_unspecified
    )


class _Pinned(http.client.HTTPConnection):
    """A connection to one judged address, under the host's own name."""

    def __init__(self, host: str, port: int, address: str, context: ssl.SSLContext | None) -> None:
        super().__init__(host, port, timeout=TIMEOUT_SECONDS)
        self.address = address
        self.context = context

    def connect(self) -> None:
        """Connect to the judged address; with TLS, prove the host's name."""
        self.sock = socket.create_connection((self.address, self.port), self.timeout)
        if self.context is not None:
            self.sock = self.context.wrap_socket(self.sock, server_hostname=self.host)


def post(url: str, body: bytes, headers: Mapping[str, str]) -> int:
    """POST a body and give the status. Raises RefusedAddressError, OSError, HTTPException."""
    parts = judged(url)
    host = parts.hostname or ""
    secure = parts.scheme == "https"
    port = parts.port or (443 if secure else 80)
    context = ssl.create_default_context() if secure else None
    connection = _Pinned(host, port, public_address(host, port), context)
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    try:
        connection.request("POST", path, body=body, headers=dict(headers))
        answer = connection.getresponse()
        answer.read(ANSWER_BYTES)
        return answer.status
    finally:
        connection.close()
