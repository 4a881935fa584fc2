"""Tables that know no domain word: people who sign in, and the trail of what was done."""

from config.models.audit import AuditEvent
from config.models.user import User, UserManager

__all__ = ["AuditEvent", "User", "UserManager"]
