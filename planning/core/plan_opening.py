"""The use classes of a line's opening balance in a plan.

In this order: the traced classes when they add up to the plan's opening; else
the claimed uses of the entry `<line>-opening` when their amounts do; else the
balance is unsupported. No unpaid interest is assumed.
"""

from __future__ import annotations

from collections.abc import Mapping

from planning.core.plan_types import OpeningClasses
from planning.core.types import Household, Split

_EXPENSE_TARGETS = {"business-expense": "business", "rental-expense": "rental"}
_NEVER_ELIGIBLE = (
    "registered-plan",
    "personal",
    "personal-mortgage",
    "non-income-asset",
    "life-policy",
    "no-interest-loan",
)


def opening_of(
    household: Household,
    line: str,
    opening_cents: int,
    traced: Mapping[str, OpeningClasses] | None,
) -> OpeningClasses:
    """The classes and targets of one line's opening balance."""
    found = (traced or {}).get(line)
    if found is not None and found.total_cents == opening_cents:
        return _complete(found)
    for use in household.uses:
        whole = sum(split.amount_cents for split in use.splits)
        if use.draw == f"{line}-opening" and whole == opening_cents:
            return _claimed(household, use.splits)
    return OpeningClasses(0, opening_cents, 0, ())


def _complete(found: OpeningClasses) -> OpeningClasses:
    """Unpaid eligible interest carried in the class joins the target `interest`."""
    targets = dict(found.targets)
    missing = found.eligible_cents - sum(targets.values())
    assert missing >= 0, "the targets exceed the eligible balance"
    if missing:
        targets["interest"] = targets.get("interest", 0) + missing
    return OpeningClasses(
        found.eligible_cents,
        found.unsupported_cents,
        found.ineligible_cents,
        tuple(targets.items()),
    )


def _claimed(household: Household, splits: tuple[Split, ...]) -> OpeningClasses:
    kinds = {one.ref: one.kind for one in household.investments}
    sums = {"eligible": 0, "unsupported": 0, "ineligible": 0}
    targets: dict[str, int] = {}
    for split in splits:
        registered = split.to in kinds and kinds[split.to] != "non-registered"
        target = _EXPENSE_TARGETS.get(split.use)
        if split.use == "income-investment" and split.to in kinds:
            target = split.to
        if split.use in _NEVER_ELIGIBLE or registered:
            sums["ineligible"] += split.amount_cents
        elif target is not None and split.evidence:
            sums["eligible"] += split.amount_cents
            targets[target] = targets.get(target, 0) + split.amount_cents
        else:
            sums["unsupported"] += split.amount_cents
    return OpeningClasses(
        sums["eligible"], sums["unsupported"], sums["ineligible"], tuple(targets.items())
    )
