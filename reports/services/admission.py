"""Invitations by mail: the person's row and the message are one act."""

from __future__ import annotations

from datetime import UTC
from typing import Any
from uuid import UUID

from django.conf import settings
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _

from config import mailing, outbox
from planning.access import Access
from planning.models import Firm, Invitation
from planning.services import invitations

KIND = "invitation"


def invite(*, access: Access, **form: Any) -> tuple[Invitation, str]:
    """Invite and write the mail; the invitation, and the link when no mail can be sent.

    Without a mail server the link is the principal's to hand over, and no mail
    is kept. Raises BadInput.
    """
    with access.opened():
        row, token = invitations.invite(access=access, **form)
        return row, _handed(access, row, token)


def resend(*, access: Access, invitation_id: UUID) -> tuple[Invitation, str]:
    """Make a new link and write the mail, as `invite` does. Raises BadInput, NotVisibleError."""
    with access.opened():
        row, token = invitations.resend(access=access, invitation_id=invitation_id)
        return row, _handed(access, row, token)


def _handed(access: Access, row: Invitation, token: str) -> str:
    link = settings.PUBLIC_URL + reverse("join_link", args=[access.firm_id, row.pk, token])
    if "mail" not in outbox.channels():
        return link
    key = f"invitation {row.pk} {row.generation}"
    firm = Firm.objects.get(pk=access.firm_id)
    with translation.override(row.language):
        held = {"firm": firm.name, "name": row.name, "link": link, "language": row.language}
        content = mailing.compose(
            firm_id=access.firm_id,
            dedupe_key=key,
            recipient=row.email,
            subject=_("Your invitation to Towpath"),
            text=render_to_string("reports/mail/invitation.txt", held),
            html=render_to_string("reports/mail/invitation.html", held),
            language=row.language,
            at=invitations.database_now().astimezone(UTC),
        )
    outbox.enqueue(
        firm_id=access.firm_id,
        dedupe_key=key,
        kind=KIND,
        channel="mail",
        recipient=row.email,
        content=content,
    )
    return ""
