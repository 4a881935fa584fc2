"""What the firm knows of whether a household can bear borrowing to invest.

Dated records: a close looks at the latest assessment and the latest disclosure
of its day. What an assessment does not say is None, and tested by nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

Level = Literal["low", "medium", "high"]
LEVELS: tuple[Level, Level, Level] = ("low", "medium", "high")


@dataclass(frozen=True, slots=True)
class Assessment:
    """The household as the firm wrote it down on one day, amounts in cents.

    `gross_income_cents` is a year's income before tax without income from
    borrowed investments; `other_loans_cents` other loans used to invest;
    `other_payments_cents` a month's payments on debts and leases outside the
    facility.
    """

    on: date
    net_worth_cents: int | None = None
    liquid_net_worth_cents: int | None = None
    gross_income_cents: int | None = None
    other_loans_cents: int | None = None
    other_payments_cents: int | None = None
    knowledge: Level | None = None
    risk_tolerance: Level | None = None
    horizon_years: int | None = None


@dataclass(frozen=True, slots=True)
class Suitability:
    """Assessments by date, and the days on which the leverage disclosure was given."""

    assessments: tuple[Assessment, ...] = ()
    disclosures: tuple[date, ...] = ()

    def up_to(self, day: date) -> Suitability:
        """What was on file by the end of a day."""
        return Suitability(
            tuple(one for one in self.assessments if one.on <= day),
            tuple(one for one in self.disclosures if one <= day),
        )


NOTHING_ASSESSED = Suitability()
