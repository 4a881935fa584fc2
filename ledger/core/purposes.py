"""The plan's purpose figures, worked out once for a version of the plan.

They need a second play of the plan, without re-borrowing. A close asks for
them every month and they depend on nothing that a month brings, so they are
remembered under a digest of all that they rest on.
"""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256

from config.problems import BadInput
from ledger.core.digest import ENGINE, canonical_text, undated
from planning.core.comparison import gaar_figures
from planning.core.plan_types import OpeningClasses, PlanResult
from planning.core.purpose import PurposeFigures
from planning.core.rates import merged_prime
from planning.core.types import Household

_REMEMBERED = 1024
_figures: dict[str, PurposeFigures | None] = {}


def plan_purpose(
    household: Household, result: PlanResult, opening: Mapping[str, OpeningClasses]
) -> PurposeFigures | None:
    """The purpose figures of a plan already run; None without a plan, or without tax rates."""
    if household.plan is None or not result.rows:
        return None
    key = _digest(household, opening)
    if key not in _figures:
        if len(_figures) >= _REMEMBERED:
            _figures.clear()
        _figures[key] = _worked_out(household, result, opening)
    return _figures[key]


def _worked_out(
    household: Household, result: PlanResult, opening: Mapping[str, OpeningClasses]
) -> PurposeFigures | None:
    try:
        return gaar_figures(household, result, opening)
    except BadInput:
        return None


def _digest(household: Household, opening: Mapping[str, OpeningClasses]) -> str:
    """Of the plan, the contracts, the people, prime and the opening classes."""
    plan = household.plan
    prime = () if plan is None else merged_prime(plan.prime, household.prime)
    classes = [f"{ref}={canonical_text(one)}" for ref, one in sorted(opening.items())]
    text = "".join((ENGINE, canonical_text(undated(household)), canonical_text(prime), *classes))
    return sha256(text.encode()).hexdigest()
