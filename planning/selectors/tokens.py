"""A member's own tokens."""

from __future__ import annotations

from planning.access import Access
from planning.models import ApiToken


def own_tokens(access: Access) -> tuple[ApiToken, ...]:
    """The member's tokens, the newest first; the dead ones too."""
    access.require("token.own")
    rows = ApiToken.objects.filter(firm_id=access.firm_id, membership_id=access.membership_id)
    return tuple(rows.order_by("-recorded_at", "pk"))
