"""What comes of a plan in a few figures, always with its loss cases.

The rows are the plan's own, the net worth and the loss cases those of the
comparison (reading F40). Amounts in cents; projections, not promises.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date
from typing import Any

from planning.core.comparison import comparison
from planning.core.money import cents_from_text
from planning.core.plan import run_plan
from planning.core.plan_types import OpeningClasses, PlanResult
from planning.core.types import Household

LOSS_CASES = ("returns", "rates", "both")
COMPARED = ("plan", "ordinary", "prepayments")


@dataclass(frozen=True, slots=True)
class PlanFigures:
    """The summary of a plan at its horizon.

    `conversion` is the first month at whose end no mortgage is owed, so that
    what debt is left stands on the line; `mortgage_ends` the day of the last
    payment. Interest is what is paid over the whole plan. `net_worth` leaves
    out the home and is after tax on the gain if everything is sold; the leads
    are over the ordinary mortgage and over the same cash put into prepayments.
    `tax_benefit` and `other_return` are the two purpose figures, present values
    at the plan's start. Two plans' net worths can be compared only as far as `cash_paid_in`, the
    household's own cash over the whole plan, is the same.
    """

    conversion: str | None
    mortgage_ends: date | None
    mortgage_interest: int
    line_interest: int
    deductible: int
    tax_saving: int
    net_worth: int
    net_worth_before_tax: int
    lead_over_ordinary: int
    lead_over_prepayments: int
    mortgage_left: int
    line: int
    portfolio: int
    refused: int
    cash_paid_in: int
    tax_benefit: int
    other_return: int

    @property
    def interest_paid(self) -> int:
        """Interest of mortgages and line together."""
        return self.mortgage_interest + self.line_interest


@dataclass(frozen=True, slots=True)
class LossCase:
    """Net worth after tax at the horizon under one case, by what is compared."""

    name: str
    plan: int
    ordinary: int
    prepayments: int


@dataclass(frozen=True, slots=True)
class Outcome:
    """A plan played out, with its figures and its loss cases, the base case first."""

    result: PlanResult
    figures: PlanFigures
    cases: tuple[LossCase, ...]


def outcome(
    household: Household,
    opening_classes: Mapping[str, OpeningClasses] | None = None,
    *,
    file: str = "",
) -> Outcome:
    """Play the household's plan and sum it up. Raises BadInput with the plan's faults."""
    assert household.plan is not None, "an outcome needs a plan"
    result = run_plan(household, opening_classes, file=file)
    compared = comparison(household, result, opening_classes, file=file, break_even=False)
    losses: Any = compared["loss_cases"]
    cases = (_case("base", compared), *(_case(name, losses[name]) for name in LOSS_CASES))
    return Outcome(result, _figures(result, compared), cases)


def differences(before: PlanFigures, after: PlanFigures) -> dict[str, int]:
    """What each amount of `after` is above `before`, in cents."""
    return {
        one.name: getattr(after, one.name) - getattr(before, one.name)
        for one in fields(PlanFigures)
        if isinstance(getattr(after, one.name), int)
    } | {"interest_paid": after.interest_paid - before.interest_paid}


def _figures(result: PlanResult, compared: Mapping[str, Any]) -> PlanFigures:
    last = result.rows[-1]
    plan = compared["plan"]
    owed = last.mortgage_closing
    return PlanFigures(
        conversion=compared["conversion"]["plan"],
        mortgage_ends=result.payments[-1].date if result.payments and not owed else None,
        mortgage_interest=sum(row.interest for row in result.rows),
        line_interest=sum(row.line_interest_paid for row in result.rows),
        deductible=sum(row.deductible for row in result.rows),
        tax_saving=sum(year.saving for year in result.years),
        net_worth=cents_from_text(plan["net_worth_after_tax"]),
        net_worth_before_tax=cents_from_text(plan["net_worth_before_tax"]),
        lead_over_ordinary=cents_from_text(compared["lead_over_ordinary"]),
        lead_over_prepayments=cents_from_text(compared["lead_over_prepayments"]),
        mortgage_left=owed,
        line=last.line_closing,
        portfolio=last.portfolio_closing,
        refused=sum(row.refused for row in result.rows),
        cash_paid_in=cents_from_text(compared["cash_paid_in"]),
        tax_benefit=cents_from_text(compared["gaar"]["e_tax"]),
        other_return=cents_from_text(compared["gaar"]["e_nontax"]),
    )


def _case(name: str, worth: Mapping[str, Any]) -> LossCase:
    amounts = (cents_from_text(worth[one]["net_worth_after_tax"]) for one in COMPARED)
    return LossCase(name, *amounts)
