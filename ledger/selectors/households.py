"""One household from the book as a core value, by its reference. For commands."""

from __future__ import annotations

from ledger.core.drift.thresholds import Thresholds
from ledger.mapping import household_value
from ledger.selectors.thresholds import thresholds_in_force
from planning.access import Access
from planning.core.types import Household
from planning.selectors.firms import firm_of_household


def household_on_file(*, ref: str, firm: str | None, command: str) -> tuple[Household, Thresholds]:
    """The household of a reference with its firm's thresholds. Raises BadInput."""
    found = firm_of_household(ref, firm, command)
    access = Access.system(found.pk, command)
    with access.opened():
        household = household_value(access.household(ref))
        return household, thresholds_in_force(found.pk)
