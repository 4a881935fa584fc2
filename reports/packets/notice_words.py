"""The words of notices, marked for translation as the trade's words are."""

from __future__ import annotations

from reports.packets.words import gettext_noop

DIGEST_WORDS: dict[str, str] = {
    "off": gettext_noop("No digest"),
    "daily": gettext_noop("Every day"),
    "weekly": gettext_noop("Every Monday"),
}
STATE_WORDS: dict[str, str] = {
    "new": gettext_noop("Not sent yet"),
    "sending": gettext_noop("Being sent"),
    "sent": gettext_noop("Sent"),
    "unknown": gettext_noop("May have arrived"),
    "dead": gettext_noop("Given up"),
}
KIND_WORDS: dict[str, str] = {
    "digest": gettext_noop("Digest"),
    "invitation": gettext_noop("Invitation"),
}
EVENT_WORDS: dict[str, str] = {
    "finding.opened": gettext_noop("A finding opened"),
    "finding.closed": gettext_noop("A finding closed"),
    "month.closed": gettext_noop("A month of the firm is complete"),
    "packet.issued": gettext_noop("A packet was issued"),
}
EVENTS: tuple[str, ...] = tuple(EVENT_WORDS)
