"""The readvanceable facility: its limit, the part that must amortise, and the room.

Source of the rule: OSFI Guideline B-20 and the advisory of 28 June 2022 on
combined loan plans. The part of the debt above the revolving cap amortises and
is not readvanced; principal paid on it lowers the whole limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from planning.core.money import round_half_up, round_ratio
from planning.core.types import ExcessRule, Facility


def cap65_cents(facility: Facility) -> int:
    """The largest revolving balance: round(revolving_cap x lender_value)."""
    return round_half_up(Fraction(facility.revolving_cap) * facility.lender_value_cents)


def opening_excess_cents(facility: Facility, mortgage_cents: int, line_cents: int) -> int:
    """A0, the amortising part above the cap: max(0, M0 + H0 - cap65)."""
    return max(0, mortgage_cents + line_cents - cap65_cents(facility))


def principal_to_excess_cents(
    rule: ExcessRule, principal_cents: int, excess_cents: int, mortgage_before_cents: int
) -> int:
    """How much of one principal payment lowers the amortising part A instead of freeing room.

    `excess-first` min(P, A); `proportional` min(A, round(P x A / M)) with A and
    M just before the payment; `none` 0. Principal that is not positive sends
    nothing.
    """
    if principal_cents <= 0 or excess_cents <= 0 or rule == "none":
        return 0
    if rule == "excess-first" or mortgage_before_cents <= 0:
        return min(principal_cents, excess_cents)
    share = round_ratio(principal_cents * excess_cents, mortgage_before_cents)
    return min(principal_cents, excess_cents, share)


def global_limit_cents(facility: Facility, excess_cents: int) -> int:
    """G = min(registered_limit, cap65 + A)."""
    return min(facility.registered_limit_cents, cap65_cents(facility) + excess_cents)


def limit_cents(facility: Facility, mortgage_cents: int, excess_cents: int) -> int:
    """The line's limit: max(0, min(line_cap, G - M)); a line_cap above cap65 counts as cap65."""
    return Limits.of(facility).limit_cents(mortgage_cents, excess_cents)


@dataclass(frozen=True, slots=True)
class Limits:
    """A facility's fixed figures worked out once, for callers that ask for the limit often."""

    cap65_cents: int
    line_cap_cents: int
    registered_cents: int

    @classmethod
    def of(cls, facility: Facility) -> Limits:
        """The figures of a facility."""
        cap65 = cap65_cents(facility)
        return cls(cap65, min(facility.line_cap_cents, cap65), facility.registered_limit_cents)

    def limit_cents(self, mortgage_cents: int, excess_cents: int) -> int:
        """max(0, min(line_cap, G - M)) with G = min(registered_limit, cap65 + A)."""
        whole = min(self.registered_cents, self.cap65_cents + excess_cents)
        return max(0, min(self.line_cap_cents, whole - mortgage_cents))


def room_cents(limit: int, line_cents: int) -> int:
    """What can still be drawn: max(0, limit - H)."""
    return max(0, limit - line_cents)
