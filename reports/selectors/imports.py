"""What the import pages show: the preview's answers file by file, and what was booked."""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import sha256
from typing import Any

from ledger.services.importing.running import ImportResult
from planning.access import Access
from planning.models import Household


def choices(access: Access) -> list[tuple[str, str]]:
    """Reference and name of the households in view, for a list to choose from."""
    access.require("statement.import")
    return list(access.households().order_by("name", "ref").values_list("ref", "name"))


def mark_of(files: Sequence[tuple[str, bytes]], household: str) -> str:
    """By what the confirming form shows that it holds the very files of the preview."""
    digest = sha256(household.encode())
    for name, data in files:
        digest.update(name.encode() + b"\0" + sha256(data).digest())
    return digest.hexdigest()


def answer_rows(access: Access, result: ImportResult) -> list[dict[str, Any]]:
    """One row a statement, with the household it goes to where exactly one is meant."""
    seen = {one.pk: one for one in access.households()}
    rows = []
    for answer, place in zip(result.answers, result.places, strict=True):
        home = seen.get(place[0]) if place else None
        entries: Any = answer["entries"]
        rows.append(
            {
                "file": answer["file"],
                "kind": answer["kind"],
                "account": answer["account"],
                "starts": place[1] if place else None,
                "ends": place[2] if place else None,
                "opening": answer["opening"],
                "closing": answer["closing"],
                "postings": len(entries),
                "imported": answer["imported"],
                "here": answer["already_here"],
                "problems": answer["problems"],
                "ref": home.ref if home else "",
                "name": home.name if home else "",
            }
        )
    return rows


def household_named(access: Access, ref: str) -> Household | None:
    """The household chosen; None for "find it by the account number". NotVisibleError if unseen."""
    return access.household(ref) if ref else None
