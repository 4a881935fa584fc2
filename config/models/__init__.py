"""Tables that know no domain word: who signs in, the trail of what was done, messages sent."""

from config.models.audit import AuditEvent
from config.models.outbox import OutboxMessage, WebhookEndpoint
from config.models.user import User, UserManager

__all__ = ["AuditEvent", "OutboxMessage", "User", "UserManager", "WebhookEndpoint"]
