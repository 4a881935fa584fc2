"""The proposal's tables: debts, cash, renewals, dated instructions, what is assumed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from planning.core.comparison_cases import out_of_pocket
from planning.core.money import text_from_cents
from planning.core.months import last_day, shift_month
from planning.core.plan_types import PlanPayment, PlanResult, PlanRow
from planning.core.types import Household, Mortgage, Plan

INSTRUCTED_MONTHS = 3
CASH_MONTHS = 12
_NEAR_DAYS = 31
_ORDER = ("payment", "refund", "extra", "interest-draw", "dam", "opening", "reborrow", "interest")


def non_deductible(row: PlanRow) -> int:
    """All debt but that in eligible use, in cents."""
    return row.mortgage_closing + row.line_closing - row.eligible


def year_ends(rows: Sequence[PlanRow]) -> list[int]:
    """The indexes of December's rows and of the last one."""
    last = len(rows) - 1
    return [i for i, row in enumerate(rows) if row.month.endswith("-12") or i == last]


def debt_rows(plan: PlanResult, ordinary: PlanResult, prepaid: PlanResult) -> list[dict[str, str]]:
    """Debts at each year's end: the plan's by use, the ordinary mortgage's, the prepayments'."""
    rows = []
    for index in year_ends(plan.rows):
        row, usual, early = plan.rows[index], ordinary.rows[index], prepaid.rows[index]
        rows.append(
            {
                "month": row.month,
                "non_deductible": text_from_cents(non_deductible(row)),
                "deductible_use": text_from_cents(row.eligible),
                "total": text_from_cents(row.mortgage_closing + row.line_closing),
                "portfolio": text_from_cents(row.portfolio_closing),
                "ordinary": text_from_cents(usual.mortgage_closing + usual.line_closing),
                "ordinary_non_deductible": text_from_cents(non_deductible(usual)),
                "prepayments": text_from_cents(early.mortgage_closing + early.line_closing),
            }
        )
    return rows


def cash_rows(
    plan: Plan, usual_plan: Plan, result: PlanResult, ordinary: PlanResult
) -> dict[str, Any]:
    """The first year's cash by month, and its sums; `own` is what leaves the household's pocket.

    own = payment + prepayment + invested + line interest paid - drawn - refund
          - distributions that leave the account

    `usual_plan` is the plan of the household without re-borrowing.
    """
    keys = ("payment", "prepayment", "drawn", "contribution", "line_interest_paid", "refund")
    sums = dict.fromkeys((*keys, "own", "ordinary_own"), 0)
    rows = []
    for row, usual in zip(result.rows[:CASH_MONTHS], ordinary.rows, strict=False):
        cents = {
            "payment": row.payment,
            "prepayment": row.prepayment,
            "drawn": row.draw + row.interest_draw + row.dam_draw,
            "contribution": row.contribution,
            "line_interest_paid": row.line_interest_paid,
            "refund": row.refund,
            "own": out_of_pocket(row, plan),
            "ordinary_own": out_of_pocket(usual, usual_plan),
        }
        for key, value in cents.items():
            sums[key] += value
        rows.append({"month": row.month} | {k: text_from_cents(v) for k, v in cents.items()})
    return {"rows": rows, "sums": {key: text_from_cents(value) for key, value in sums.items()}}


def first_dollars(result: PlanResult) -> dict[str, str]:
    """Where the dollars of the first month with a payment go."""
    row = next((one for one in result.rows if one.payment), result.rows[0])
    keys = ("payment", "interest", "principal", "prepayment", "room_freed", "draw", "contribution")
    more = ("line_interest", "line_interest_paid", "interest_draw", "distribution", "room")
    return {"month": row.month} | {
        key: text_from_cents(getattr(row, key)) for key in (*keys, *more)
    }


def first_instructions(plan: Plan, result: PlanResult) -> list[dict[str, str | None]]:
    """What the household does and when, in the plan's first three months."""
    first = result.rows[0].month
    ends = last_day(shift_month(first, INSTRUCTED_MONTHS - 1))
    into = None if plan.reborrow is None else plan.reborrow.into
    line = "" if plan.reborrow is None else plan.reborrow.line
    rows = [
        _row(paid.date, "payment", paid.payment, paid.mortgage, None)
        for paid in result.payments
        if paid.payment and paid.date <= ends
    ]
    for draw in result.draws:
        if draw.date > ends:
            continue
        kind = "interest-draw" if draw.kind == "interest" else draw.kind
        invested = into if draw.kind in ("opening", "reborrow") else None
        rows.append(_row(draw.date, kind, draw.amount, draw.line, invested))
    rows.extend(
        _row(one.on, "extra", one.amount_cents, "", None) for one in plan.extras if one.on <= ends
    )
    for row in result.rows[:INSTRUCTED_MONTHS]:
        if plan.line_interest == "from-cash" and row.line_interest_paid:
            rows.append(_row(last_day(row.month), "interest", row.line_interest_paid, line, None))
        if row.refund > 0 and plan.refund == "prepay":
            rows.append(_row(last_day(row.month), "refund", row.refund, "", None))
    rows.sort(key=lambda row: (str(row["date"]), _ORDER.index(str(row["kind"]))))
    return rows


def _row(day: date, kind: str, amount: int, line: str, into: str | None) -> dict[str, str | None]:
    return {
        "date": day.isoformat(),
        "kind": kind,
        "amount": text_from_cents(amount),
        "line": line,
        "into": into,
    }


def renewal_rows(
    household: Household, result: PlanResult, dear: PlanResult
) -> list[dict[str, str | None]]:
    """Every term that ends within the plan: what follows, what is owed, what is then paid.

    `dear` is the plan with rates 3 points higher. A rate that no term and no
    renewal gives goes on as it was (`kind` "open").
    """
    plan = household.plan
    assert plan is not None
    rows: list[dict[str, str | None]] = []
    starts, ends = plan.starts, last_day(result.rows[-1].month)
    for mortgage in household.mortgages:
        for on, kind, rate in _changes(mortgage, plan):
            if not starts <= on <= ends:
                continue
            old, new = _around(result.payments, mortgage.ref, on)
            if old is None or not old.balance:
                continue
            _, shocked = _around(dear.payments, mortgage.ref, on)
            rows.append(
                {
                    "mortgage": mortgage.ref,
                    "on": on.isoformat(),
                    "kind": kind,
                    "rate": rate,
                    "rate_before": f"{old.rate:f}",
                    "balance": text_from_cents(old.balance),
                    "payment_before": text_from_cents(old.payment),
                    "payment_after": None if new is None else text_from_cents(new.payment),
                    "payment_shocked": (
                        None
                        if shocked is None or kind != "planned"
                        else text_from_cents(shocked.payment)
                    ),
                }
            )
    return sorted(rows, key=lambda row: (str(row["on"]), str(row["mortgage"])))


def _changes(mortgage: Mortgage, plan: Plan) -> list[tuple[date, str, str | None]]:
    """(date, kind, rate): a term on file, a planned renewal, or an end with nothing after it."""
    found: list[tuple[date, str, str | None]] = []
    for last, term in zip(mortgage.terms[:-1], mortgage.terms[1:], strict=True):
        rate = None if term.rate_annual is None else f"{term.rate_annual:f}"
        found.append((last.matures, "on-file", rate))
    planned = [one for one in plan.renewals if one.mortgage == mortgage.ref]
    found.extend((one.on, "planned", f"{one.rate_annual:f}") for one in planned)
    last_on = mortgage.terms[-1].matures
    if not any(abs((one.on - last_on).days) <= _NEAR_DAYS for one in planned):
        found.append((last_on, "open", None))
    return found


def _around(
    payments: Sequence[PlanPayment], mortgage: str, on: date
) -> tuple[PlanPayment | None, PlanPayment | None]:
    """The first payment on or after a change (the last at the old rate) and the one after it."""
    later = [one for one in payments if one.mortgage == mortgage and one.payment and one.date >= on]
    return (later[0] if later else None), (later[1] if len(later) > 1 else None)
