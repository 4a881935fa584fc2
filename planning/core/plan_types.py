"""What a plan gives back: month rows, payments, draws, years. Amounts in cents."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from datetime import date
from decimal import Decimal
from typing import Literal

from planning.core.money import text_from_cents

TaxOfYear = Callable[[int, int, Mapping[str, int]], int]
"""(year, deduction in cents, distributions in cents by kind) -> the year's saving in cents.

Called once for each year of a plan, in rising order, so that an engine may
carry amounts from one year to the next.
"""


@dataclass(frozen=True, slots=True)
class OpeningClasses:
    """The use classes of a line's balance on the evening before the plan starts.

    `targets` shares out the eligible part by what it was used for: an
    investment account's ref, `business`, `rental` or `interest`.
    """

    eligible_cents: int
    unsupported_cents: int
    ineligible_cents: int
    targets: tuple[tuple[str, int], ...]

    @property
    def total_cents(self) -> int:
        """The line's whole balance."""
        return self.eligible_cents + self.unsupported_cents + self.ineligible_cents


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One month of the plan. Field names are the report's row keys; all lines,
    mortgages and accounts together.

    `payment` = interest + principal, prepayments apart; `draw` is the re-borrow
    and the opening draw; `refused` is cash that no mortgage could take;
    `dam_draw` pays rental or business expenses.
    """

    month: str
    mortgage_opening: int
    payment: int
    interest: int
    principal: int
    prepayment: int
    mortgage_closing: int
    room_freed: int
    draw: int
    interest_draw: int
    line_opening: int
    line_interest: int
    line_interest_paid: int
    line_closing: int
    eligible: int
    unsupported: int
    ineligible: int
    deductible: int
    contribution: int
    growth: int
    distribution: int
    portfolio_closing: int
    refund: int
    limit: int
    room: int
    refused: int
    dam_draw: int


ROW_KEYS: tuple[str, ...] = tuple(one.name for one in fields(PlanRow) if one.name != "month")


def row_json(row: PlanRow) -> dict[str, str]:
    """A row as the report writes it: the month, then every amount as a decimal string."""
    shown = {"month": row.month}
    for key in ROW_KEYS:
        shown[key] = text_from_cents(getattr(row, key))
    return shown


@dataclass(frozen=True, slots=True)
class PlanPayment:
    """One scheduled payment, or one prepayment (then `payment` is zero).

    `rate` is the yearly rate the interest was counted at; `to_excess` the part
    of the principal that lowered the amortising part above the cap; `balance`
    what is owed afterwards.
    """

    date: date
    mortgage: str
    payment: int
    interest: int
    principal: int
    prepayment: int
    rate: Decimal
    to_excess: int
    balance: int


@dataclass(frozen=True, slots=True)
class PlanDraw:
    """One draw of the plan and what it is for."""

    date: date
    line: str
    amount: int
    kind: Literal["opening", "reborrow", "interest", "dam"]


@dataclass(frozen=True, slots=True)
class PlanYear:
    """A calendar year of the plan: interest on eligible money, deduction, tax saving."""

    year: int
    posted_eligible: int
    deduction: int
    income: tuple[tuple[str, int], ...]
    saving: int


@dataclass(frozen=True, slots=True)
class PlanClosing:
    """Where the plan ends: balances by account, linked principal, cost, cash waiting."""

    mortgages: tuple[tuple[str, int], ...]
    lines: tuple[tuple[str, int], ...]
    accounts: tuple[tuple[str, int], ...]
    targets: tuple[tuple[str, int], ...]
    excess: int
    cost: int
    held_cash: int


@dataclass(frozen=True, slots=True)
class PlanResult:
    """A plan played out. Empty when the household has no plan."""

    rows: tuple[PlanRow, ...]
    payments: tuple[PlanPayment, ...]
    draws: tuple[PlanDraw, ...]
    years: tuple[PlanYear, ...]
    warnings: tuple[str, ...]
    closing: PlanClosing | None
