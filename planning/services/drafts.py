"""Work on a household that is not saved yet: begun, kept step by step, given up.

A draft is its owner's alone: not even the firm's principal reads another's.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models.functions import Now

from config import audit
from config.problems import BadInput, Problem
from planning.access import Access, NotVisibleError
from planning.models import HouseholdDraft

MOST_CHARACTERS = 200_000


def begin_draft(
    *, access: Access, content: Mapping[str, Any], ref: str | UUID | None = None, based_on: str = ""
) -> HouseholdDraft:
    """The person's draft of a household, or of a new one; begun with `content` if there is none.

    Raises NotVisibleError for a household out of view.
    """
    access.require("household.edit")
    with access.opened(), transaction.atomic():
        household = None if ref is None else access.household(ref)
        if access.membership_id is None:
            raise NotVisibleError("only a member of the firm keeps drafts")
        fresh = HouseholdDraft(
            firm_id=access.firm_id,
            member_id=access.membership_id,
            household=household,
            based_on=based_on,
            content=dict(content),
        )
        HouseholdDraft.objects.bulk_create([fresh], ignore_conflicts=True)
        kept = HouseholdDraft.objects.get(
            firm_id=access.firm_id, member_id=access.membership_id, household=household
        )
        if kept.pk == fresh.pk:
            _record(access, "draft.begin", kept)
        return kept


def keep_draft(*, access: Access, draft_id: UUID, content: Mapping[str, Any]) -> None:
    """Keep the person's work as it stands, checked or not.

    Raises NotVisibleError, and BadInput when it is larger than a form can be.
    """
    access.require("household.edit")
    with access.opened(), transaction.atomic():
        draft = own_draft(access, draft_id, lock=True)
        if len(json.dumps(content)) > MOST_CHARACTERS:
            message = f"the draft is longer than {MOST_CHARACTERS} characters"
            raise BadInput([Problem("draft", "", message, "Load a household file instead")])
        if draft.content == content:
            return
        draft.content = dict(content)
        draft.changed_at = Now()
        draft.save(update_fields=["content", "changed_at"])
        _record(access, "draft.keep", draft)


def discard_draft(*, access: Access, draft_id: UUID) -> None:
    """Give a draft up. Raises NotVisibleError when there is none."""
    access.require("household.edit")
    with access.opened(), transaction.atomic():
        draft = own_draft(access, draft_id, lock=True)
        _record(access, "draft.discard", draft)
        draft.delete()


def own_draft(access: Access, draft_id: UUID, *, lock: bool = False) -> HouseholdDraft:
    """A draft of the person asking, its household still in view. Raises NotVisibleError."""
    access.require("household.edit")
    rows = HouseholdDraft.objects.filter(
        firm_id=access.firm_id, member_id=access.membership_id, pk=draft_id
    )
    found = (rows.select_for_update() if lock else rows).first()
    if found is None:
        raise NotVisibleError("no such draft")
    if found.household_id is not None:
        access.household(found.household_id)
    return found


def _record(access: Access, what: str, draft: HouseholdDraft) -> None:
    audit.record(
        access,
        what,
        object_type="household_draft",
        object_id=draft.pk,
        detail={"household": str(draft.household_id) if draft.household_id else None},
    )
