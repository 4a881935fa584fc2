"""Who was shown a household, for its advisors, for the client themself and for the command."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from planning.access import Access
from planning.models import Sighting


@dataclass(frozen=True, slots=True)
class Seen:
    """One sighting: who, as what, what kind of thing and which route, when (UTC)."""

    name: str
    role: str
    kind: str
    route: str
    object_id: str
    at: datetime

    def as_dict(self) -> dict[str, str]:
        """For JSON."""
        return {
            "name": self.name,
            "role": self.role,
            "kind": self.kind,
            "route": self.route,
            "object": self.object_id,
            "at": self.at.isoformat(),
        }


def sightings_of(
    access: Access,
    ref: str,
    *,
    first: date | None = None,
    last: date | None = None,
    most: int | None = None,
) -> tuple[Seen, ...]:
    """Sightings of a household from day to day (UTC, both included), the newest first.

    Raises NotVisibleError when the household is not in view.
    """
    access.require("sighting.view")
    household = access.household(ref)
    rows = access.scope(Sighting.objects.filter(household=household))
    if first is not None:
        rows = rows.filter(at__date__gte=first)
    if last is not None:
        rows = rows.filter(at__date__lt=last + timedelta(days=1))
    rows = rows.select_related("user", "grant").order_by("-at", "pk")[:most]
    return tuple(
        Seen(
            name=one.user.get_full_name() if one.user else one.grant.name if one.grant else "",
            role=one.role,
            kind=one.kind,
            route=one.route,
            object_id=one.object_id,
            at=one.at,
        )
        for one in rows
    )
