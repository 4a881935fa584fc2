"""What was issued, packets with their frozen snapshots and bytes; and what members are told."""

from reports.models.notices import CalendarFeed, NoticePreference, NoticeRules
from reports.models.packets import Packet
from reports.models.views import SavedView

__all__ = ["CalendarFeed", "NoticePreference", "NoticeRules", "Packet", "SavedView"]
