"""The firm's settings: what is in force, and every version with who, when and why."""

from __future__ import annotations

from uuid import UUID

from planning.access import Access
from planning.models import FirmSettings


def settings_in_force(firm_id: UUID) -> FirmSettings | None:
    """The firm's newest settings; None while it has set nothing. Within the firm's scope.

    For closes and services; a person's pages ask `settings_history`.
    """
    return FirmSettings.objects.filter(firm_id=firm_id).order_by("-number").first()


def settings_history(access: Access) -> tuple[FirmSettings, ...]:
    """Every version of the firm's settings, the newest first.

    Raises PermissionDenied unless the role may edit the firm.
    """
    access.require("firm.edit")
    rows = access.scope(FirmSettings.objects.select_related("by"))
    return tuple(rows.order_by("-number"))
