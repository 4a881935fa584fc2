"""Mail: a message's bytes, made once, and handing them to the mail server.

The bytes are kept in the outbox, with a Message-ID and boundary made of the
dedupe key, so that a message sent again is the same message to every mail
program. Errors carry the exception's type and the server's number only: what a
server writes back may quote addresses or a sign-in.
"""

from __future__ import annotations

import smtplib
import ssl
from datetime import datetime
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, parseaddr
from hashlib import sha256
from urllib.parse import urlsplit
from uuid import UUID

from django.conf import settings

from config.outbox import Outcome


def message_id(firm_id: UUID, dedupe_key: str) -> str:
    """The Message-ID of a message: the same for the same key, and says nothing else."""
    host = urlsplit(settings.PUBLIC_URL).hostname or "localhost"
    return f"<{_mark(firm_id, dedupe_key)}@{host}>"


def _mark(firm_id: UUID, dedupe_key: str) -> str:
    return sha256(f"{firm_id} {dedupe_key}".encode()).hexdigest()[:40]


def compose(
    *,
    firm_id: UUID,
    dedupe_key: str,
    recipient: str,
    subject: str,
    text: str,
    html: str,
    language: str,
    at: datetime,
) -> str:
    """The whole message (RFC 5322) as ASCII text with CRLF, text and HTML side by side.

    Raises ValueError when an address or the subject holds a line break.
    """
    mail = EmailMessage(policy=SMTP.clone(cte_type="7bit"))
    mail["From"] = settings.DEFAULT_FROM_EMAIL
    mail["To"] = recipient
    mail["Subject"] = subject
    mail["Date"] = format_datetime(at)
    mail["Message-ID"] = message_id(firm_id, dedupe_key)
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content(text, cte="quoted-printable")
    mail.add_alternative(html, subtype="html", cte="quoted-printable")
    mail["Content-Language"] = language
    mail.set_boundary(f"=_{_mark(firm_id, dedupe_key)}")
    return mail.as_bytes().decode("ascii")


def send(content: str, recipient: str) -> Outcome:
    """Hand a message's bytes to the mail server that the settings name."""
    try:
        server = _connected()
    except smtplib.SMTPResponseException as error:
        return Outcome("refused", f"{type(error).__name__} {error.smtp_code}")
    except (OSError, smtplib.SMTPException) as error:
        return Outcome("refused", type(error).__name__)
    try:
        return _handed_over(server, content, recipient)
    finally:
        server.close()


def _connected() -> smtplib.SMTP:
    context = ssl.create_default_context()
    host, port, wait = settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT
    if settings.EMAIL_USE_SSL:
        server: smtplib.SMTP = smtplib.SMTP_SSL(host, port, timeout=wait, context=context)
    else:
        server = smtplib.SMTP(host, port, timeout=wait)
    try:
        if settings.EMAIL_USE_TLS:
            server.starttls(context=context)
        if settings.EMAIL_HOST_USER:
            server.login(settings.EMAIL_HOST_USER, settings.EMAIL_HOST_PASSWORD)
    except BaseException:
        server.close()
        raise
    return server


def _handed_over(server: smtplib.SMTP, content: str, recipient: str) -> Outcome:
    sender = parseaddr(settings.DEFAULT_FROM_EMAIL)[1]
    try:
        server.sendmail(sender, [recipient], content.encode("ascii"))
    except smtplib.SMTPRecipientsRefused as error:
        code = next(iter(error.recipients.values()))[0]
        return Outcome("refused", f"recipient refused {code}", lasting=code >= 500)
    except smtplib.SMTPResponseException as error:
        code = error.smtp_code
        return Outcome("refused", f"{type(error).__name__} {code}", lasting=code >= 500)
    except (OSError, smtplib.SMTPException) as error:
        return Outcome("uncertain", type(error).__name__)
    return Outcome("sent")
