"""Tables that know no domain word: people, the trail, counted tries, messages sent."""

from config.models.audit import AuditEvent
from config.models.outbox import OutboxMessage, WebhookEndpoint
from config.models.rates import RateCount
from config.models.user import User, UserManager

__all__ = ["AuditEvent", "OutboxMessage", "RateCount", "User", "UserManager", "WebhookEndpoint"]
