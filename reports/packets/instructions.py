"""What the household does next quarter: dated amounts, renewals ahead.

The amounts come from the plan's own engine, started on the quarter's first day
from the balances the latest statements show, at the rates on file: so a
re-borrowing is exactly the principal the next payments will free. They are
estimates until the payments are posted, and the packet says so.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from config.problems import BadInput
from planning.core.money import cents_from_text, text_from_cents
from planning.core.months import last_day, month_of, months_between, shift_month
from planning.core.plan import run_plan
from planning.core.rates import merged_prime
from planning.core.types import Household, Plan
from reports.packets.values import Json, cents_in, plan_rows

RENEWAL_HORIZON_DAYS = 365


def balance_at(household: Household, account: str, day: date) -> int | None:
    """The closing of the account's latest statement that ended by `day`, in cents."""
    found = [one for one in household.statements_of(account) if one.ends <= day]
    if not found:
        return None
    last = found[-1]
    return last.closing_cents if last.value_cents is None else last.value_cents


def dated_instructions(
    household: Household, report: Json, starts: date, ends: date, as_of: date
) -> tuple[list[dict[str, Any]], list[str]]:
    """The dated instructions from `starts` to `ends` (whole months), and what hinders them.

    Balances are those on the eve of `starts`; what stands open already is dated
    `as_of`. Hindrances are words for the reader: "mixed-line" (draw into a clean
    sub-account only), "limit-cut", "disclosure-stale", "renewal-passed", or the
    plan's own problem when it cannot be played on.
    """
    plan = household.plan
    if plan is None:
        return [], ["no-plan"]
    holds = sorted(
        {
            str(one["code"])
            for one in report.get("drift") or ()
            if one.get("open") and one["code"] in _HOLDS
        }
    )
    rows = _catch_up(plan, report, as_of)
    live = _restarted(household, plan, starts, ends)
    if live is None:
        return rows, [*holds, "plan-ended"]
    try:
        result = run_plan(live, tax_of_year=lambda *_: 0)
    except BadInput as error:
        return rows, [*holds, *(problem.message for problem in error.problems)]
    into = None if plan.reborrow is None else plan.reborrow.into
    for draw in result.draws:
        if draw.kind == "reborrow" and draw.date <= ends:
            freed = sum(
                one.principal + one.prepayment for one in result.payments if one.date == draw.date
            )
            rows.append(_row(draw.date, "reborrow", draw.amount, draw.line, into, freed))
    if plan.line_interest == "from-cash":
        for month in result.rows:
            if month.line_interest > 0:
                day = last_day(month.month)
                line = "" if plan.reborrow is None else plan.reborrow.line
                rows.append(_row(day, "interest", month.line_interest, line, None, 0))
    rows.extend(_prepayments(plan, report, starts, ends))
    rows.sort(key=lambda row: (row["date"], _ORDER.index(row["kind"])))
    return rows, holds


_HOLDS = ("mixed-line", "limit-cut", "disclosure-stale", "renewal-passed", "over-limit")
_ORDER = ("catch-up", "refund", "extra", "reborrow", "interest")


def _row(
    day: date, kind: str, amount: int, line: str, into: str | None, freed: int
) -> dict[str, Any]:
    return {
        "date": day.isoformat(),
        "kind": kind,
        "amount": text_from_cents(amount),
        "line": line,
        "into": into,
        "freed": text_from_cents(freed),
    }


def _catch_up(plan: Plan, report: Json, as_of: date) -> list[dict[str, Any]]:
    into = None if plan.reborrow is None else plan.reborrow.into
    return [
        _row(
            as_of,
            "catch-up",
            cents_from_text(str(one["dollars"])),
            str(one["key"]),
            into,
            cents_from_text(str(one["dollars"])),
        )
        for one in report.get("drift") or ()
        if one.get("open") and one["code"] == "missed-reborrow"
    ]


def _prepayments(plan: Plan, report: Json, starts: date, ends: date) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    planned = plan_rows(report)
    for month in months_between(month_of(starts), month_of(ends)):
        due = cents_in(planned.get(month) or {}, "refund")
        if due > 0 and plan.refund == "prepay":
            rows.append(_row(last_day(month), "refund", due, "", None, due))
    rows.extend(
        _row(extra.on, "extra", extra.amount_cents, "", None, extra.amount_cents)
        for extra in plan.extras
        if starts <= extra.on <= ends
    )
    return rows


def _restarted(household: Household, plan: Plan, starts: date, ends: date) -> Household | None:
    """The household with its plan moved to the coming months, or None when it is over."""
    eve = starts - timedelta(days=1)
    starts = max(starts, plan.starts)
    last = min(month_of(ends), shift_month(month_of(plan.starts), plan.months - 1))
    months = len(months_between(month_of(starts), last))
    if months == 0:
        return None
    opening = []
    for account, planned in plan.opening:
        actual = balance_at(household, account, eve)
        opening.append((account, planned if actual is None else max(0, actual)))
    reborrow = None if plan.reborrow is None else replace(plan.reborrow, opening_draw_cents=0)
    moved = replace(
        plan,
        starts=starts,
        months=months,
        opening=tuple(opening),
        prime=merged_prime(household.prime, plan.prime),
        renewals=tuple(one for one in plan.renewals if one.on >= starts),
        reborrow=reborrow,
        extras=(),
        refund="keep",
    )
    return replace(household, plan=moved)


def renewals_ahead(household: Household, as_of: date) -> list[dict[str, Any]]:
    """Terms that end within a year, or have ended, with no next term on file."""
    rows: list[dict[str, Any]] = []
    for mortgage in household.mortgages:
        if not mortgage.terms:
            continue
        term = mortgage.terms[-1]
        days = (term.matures - as_of).days
        balance = balance_at(household, mortgage.ref, as_of)
        if days > RENEWAL_HORIZON_DAYS or balance == 0:
            continue
        planned = None
        for one in household.plan.renewals if household.plan else ():
            if one.mortgage == mortgage.ref and one.on >= term.matures - timedelta(days=31):
                planned = f"{one.rate_annual:f}"
                break
        rows.append(
            {
                "mortgage": mortgage.ref,
                "matures": term.matures.isoformat(),
                "days": days,
                "kind": term.kind,
                "rate": None if term.rate_annual is None else f"{term.rate_annual:f}",
                "planned_rate": planned,
                "balance": None if balance is None else text_from_cents(balance),
            }
        )
    return sorted(rows, key=lambda row: (row["matures"], row["mortgage"]))
