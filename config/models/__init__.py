"""Tables that know no domain word: people, the trail, counted tries."""

from config.models.audit import AuditEvent
from config.models.rates import RateCount
from config.models.user import User, UserManager

__all__ = ["AuditEvent", "RateCount", "User", "UserManager"]
