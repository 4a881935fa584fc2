"""Keeping and removing named views of the work list."""

from __future__ import annotations

from uuid import UUID

from config import audit
from planning.access import Access, NotVisibleError
from reports.models import SavedView

LONGEST_NAME = 60
MOST_VIEWS = 50


def save_view(*, access: Access, name: str, query: str, shared: bool) -> SavedView:
    """Keep filters under a name; the same name again replaces what the member kept before.

    Raises ValueError without a name or beyond fifty views of one's own,
    PermissionDenied when the role keeps none.
    """
    access.require("view.save")
    words = " ".join(name.replace("\x00", "").split())[:LONGEST_NAME]
    if not words:
        raise ValueError("A view needs a name")
    with access.opened():
        mine = SavedView.objects.filter(firm_id=access.firm_id, owner_id=access.membership_id)
        if mine.exclude(name=words).count() >= MOST_VIEWS:
            raise ValueError("At most fifty views")
        (kept,) = SavedView.objects.bulk_create(
            [
                SavedView(
                    firm_id=access.firm_id,
                    owner_id=access.membership_id,
                    name=words,
                    query=query,
                    shared=shared,
                )
            ],
            update_conflicts=True,
            unique_fields=["firm", "owner", "name"],
            update_fields=["query", "shared"],
        )
        audit.record(
            access,
            "view.saved",
            object_type="firm",
            object_id=access.firm_id,
            detail={"name": words, "query": query, "shared": shared},
        )
        return kept


def remove_view(*, access: Access, view_id: UUID) -> None:
    """Remove a view of one's own. Raises NotVisibleError for another's or none."""
    access.require("view.save")
    with access.opened():
        mine = SavedView.objects.filter(
            firm_id=access.firm_id, owner_id=access.membership_id, pk=view_id
        )
        found = mine.first()
        if found is None:
            raise NotVisibleError("no such view")
        name = found.name
        mine.delete()
        audit.record(
            access,
            "view.removed",
            object_type="firm",
            object_id=access.firm_id,
            detail={"name": name},
        )
