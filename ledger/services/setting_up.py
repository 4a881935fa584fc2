"""Saving what was set up on the desk: the draft becomes the household's file, and is loaded.

A new household's file is the draft's own. A change to a household on file takes
people, facility, accounts, prime and plan from the draft; statements and uses
stay those of the book at the moment of saving, whatever came in meanwhile.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from hashlib import sha256
from typing import Any
from uuid import UUID

from django.db import transaction

from config.problems import BadInput, Problem
from ledger.mapping import household_value
from ledger.services.households import Loaded, load_household, read_file
from planning.access import Access, NotVisibleError
from planning.core.household_file import household_to_json
from planning.models import Household, HouseholdDraft, HouseholdVersion, PlanVersion
from planning.services.drafts import begin_draft, own_draft

FILE = "set up on the desk"
LONGEST_REASON = 500
BOOK_KEYS = ("statements", "uses")
"""What a change leaves to the book."""


class OutdatedError(BadInput):
    """The household was changed since the draft was begun."""


def begin_change(*, access: Access, ref: str) -> HouseholdDraft:
    """The person's draft of a change to a household, begun from what is on file."""
    access.require("household.edit")
    with access.opened():
        row = access.household(ref)
        content = household_to_json(household_value(row))
        for key in BOOK_KEYS:
            content[key] = []
        return begin_draft(access=access, content=content, ref=row.pk, based_on=versions_of(row))


def versions_of(household: Household) -> str:
    """The versions in force, as a draft remembers them: "3.2"."""
    counts = (
        HouseholdVersion.objects.filter(household=household).count(),
        PlanVersion.objects.filter(household=household).count(),
    )
    return ".".join(map(str, counts))


def whole_file(content: Mapping[str, Any], row: Household | None) -> dict[str, Any]:
    """The household file that a draft stands for, the book's statements and uses included."""
    if row is None:
        return dict(content)
    held = household_to_json(household_value(row))
    return {**content, **{key: held[key] for key in BOOK_KEYS}}


def bytes_of(file: Mapping[str, Any]) -> bytes:
    """The file as it is kept: readable, keys in their order."""
    return (json.dumps(file, ensure_ascii=False, indent=1) + "\n").encode()


def digest_of(content: Mapping[str, Any]) -> str:
    """By what a page and the service know that they speak of the same draft."""
    return sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()


def save_draft(
    *,
    access: Access,
    draft_id: UUID,
    reason: str,
    reviewed: str,
    language: str = "en",
) -> Loaded:
    """Load what a draft stands for and remove the draft: one transaction with its trail.

    `reviewed` is the digest of the content the person looked at. Raises NotVisibleError,
    BadInput with every fault, and OutdatedError when the household on file or
    the draft itself has changed since; nothing is written then.
    """
    access.require("household.edit")
    with access.opened(), transaction.atomic():
        draft = own_draft(access, draft_id, lock=True)
        row = None
        if draft.household_id is not None:
            row = access.household(draft.household_id, lock=True)
        if digest_of(draft.content) != reviewed:
            _outdated("the draft has changed since it was reviewed", "Review it again")
        if row is not None and versions_of(row) != draft.based_on:
            _outdated(
                "somebody saved this household since the draft was begun",
                "Look at the newest version, discard the draft and start again",
            )
        value = read_file(FILE, bytes_of(whole_file(draft.content, row)))
        content = bytes_of(household_to_json(value))
        _check(access, row, value.ref, value.advisor, reason)
        try:
            loaded = load_household(
                access=access,
                value=value,
                name=FILE,
                content=content,
                reason=reason.strip(),
                language=language,
            )
        except NotVisibleError as error:  # somebody else's household, made in this very moment
            raise BadInput([_taken(value.ref)]) from error
        if row is None and not loaded.created:
            raise BadInput([_taken(value.ref)])
        draft.delete()
        return loaded


def _check(
    access: Access, row: Household | None, ref: str, advisor: str | None, reason: str
) -> None:
    problems: list[Problem] = []
    if row is not None and ref != row.ref:
        text = f"the reference of a household stays {row.ref!r}"
        problems.append(Problem(FILE, "household.ref", text, "Put it back"))
    if row is None and Household.objects.filter(firm_id=access.firm_id, ref=ref).exists():
        problems.append(_taken(ref))
    if access.role == "advisor" and (advisor or "").casefold() != access.actor.casefold():
        text = "an advisor sets up households of their own book"
        remedy = f"Write {access.actor}, or ask a principal"
        problems.append(Problem(FILE, "household.advisor", text, remedy))
    if row is not None and not reason.strip():
        problems.append(Problem(FILE, "reason", "a change needs a reason", "Say why"))
    if len(reason) > LONGEST_REASON:
        text = f"the reason is longer than {LONGEST_REASON} characters"
        problems.append(Problem(FILE, "reason", text, "Shorten it"))
    if problems:
        raise BadInput(problems)


def _taken(ref: str) -> Problem:
    text = f"the reference {ref!r} is in use in this firm"
    return Problem(FILE, "household.ref", text, "Choose another reference")


def _outdated(message: str, remedy: str) -> None:
    raise OutdatedError([Problem(FILE, "", message, remedy)])
