"""Whose packet a command asks for: the one firm that knows the household."""

from __future__ import annotations

from config.database import firm_scope
from config.problems import BadInput, Problem
from ledger.services.closing.facts import firm_ids
from planning.access import Access
from planning.models import Firm, Household


def access_for(ref: str, firm: str | None) -> Access:
    """The system's access in the firm that has the household, or in the firm named.

    Raises BadInput when no firm, or more than one, knows the reference.
    """
    found: dict[str, Access] = {}
    names: list[str] = []
    for firm_id in firm_ids():
        with firm_scope(firm_id):
            name = Firm.objects.get(pk=firm_id).name
            names.append(name)
            wanted = firm is None or firm in (name, str(firm_id))
            if wanted and Household.objects.filter(ref=ref).exists():
                found[name] = Access.system(firm_id, "packet command")
    if len(found) == 1:
        return next(iter(found.values()))
    if found:
        known = ", ".join(sorted(found))
        raise BadInput([Problem("packet", "REF", f"{ref} is a household of {known}", "Add --firm")])
    if firm is not None and firm not in names:
        known = ", ".join(sorted(names)) or "none"
        raise BadInput(
            [Problem("packet", "--firm", f"there is no firm {firm!r}", f"Known firms: {known}")]
        )
    raise BadInput(
        [
            Problem(
                "packet",
                "REF",
                f"no household {ref!r} is on file",
                "Check the reference, or load the household with load_household",
            )
        ]
    )
