"""One household from the book as a core value, by its reference. For commands."""

from __future__ import annotations

from config.problems import BadInput, Problem
from ledger.core.drift.thresholds import Thresholds
from ledger.mapping import household_value, thresholds_value
from planning.access import Access, NotVisibleError
from planning.core.types import Household
from planning.models import Firm
from planning.selectors.firms import find_firm


def household_on_file(*, ref: str, firm: str | None, command: str) -> tuple[Household, Thresholds]:
    """The household of a reference with its firm's thresholds. Raises BadInput."""
    found = find_firm(firm, command)
    access = Access.system(found.pk, command)
    with access.opened():
        try:
            household = household_value(access.household(ref))
        except NotVisibleError as error:
            message = f"there is no household {ref!r} in {found.name}"
            raise BadInput([Problem(command, "REF", message, "Check the reference")]) from error
        thresholds = thresholds_value(Firm.objects.get(pk=found.pk).thresholds)
    return household, thresholds
