"""Whose packet a command asks for: the one firm that knows the household."""

from __future__ import annotations

from planning.access import Access
from planning.selectors.firms import firm_of_household


def access_for(ref: str, firm: str | None) -> Access:
    """The system's access in the firm that has the household, or in the firm named.

    Raises BadInput when no firm, or more than one, knows the reference.
    """
    return Access.system(firm_of_household(ref, firm, "packet").pk, "packet command")
