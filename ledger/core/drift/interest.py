"""Interest on the line: unpaid, posted otherwise than computed, deducted otherwise than planned."""

from __future__ import annotations

from fractions import Fraction

from ledger.core.drift.context import DriftContext
from ledger.core.drift.findings import Finding, joined, step
from ledger.core.drift.thresholds import share_of
from planning.core.line_interest import posting_tolerance_cents
from planning.core.months import month_of


def interest_unpaid(context: DriftContext) -> tuple[Finding, ...]:
    """Interest posted more than 25 days ago is unpaid, though the plan pays it from cash.

    Dollars: what is unpaid of those postings.
    """
    plan = context.household.plan
    if plan is None or plan.line_interest != "from-cash":
        return ()
    found = []
    for line in context.trace.lines.values():
        old = [
            one
            for one in line.postings
            if sum(one.unpaid) > 0 and context.age(one.on) > context.thresholds.interest_unpaid_days
        ]
        unpaid = sum(sum(one.unpaid) for one in old)
        if unpaid <= 0:
            continue
        found.append(
            Finding(
                code="interest-unpaid",
                key=line.ref,
                dollars_cents=unpaid,
                severity="fix",
                life="state",
                evidence=tuple(one.id for one in old),
                cost_per_year_cents=context.interest_at_line_rate(unpaid, line.ref),
                remedy=(
                    step(
                        "Pay {unpaid} of interest on {line} from cash before the year ends; by "
                        "the method paid, only interest paid in the year is deducted in it.",
                        unpaid=unpaid,
                        line=line.ref,
                    ),
                ),
            )
        )
    return tuple(found)


def interest_mismatch(context: DriftContext) -> tuple[Finding, ...]:
    """Posted interest lies outside the tolerance of the computed one.

    Tolerance: max(0.05, 0.02 x nights covered). Dollars: the difference.
    """
    found = []
    for line in context.trace.lines.values():
        for one in line.postings:
            if one.computed is None:
                continue
            difference = abs(one.posted - one.computed)
            if difference <= posting_tolerance_cents(one.nights):
                continue
            found.append(
                Finding(
                    code="interest-mismatch",
                    key=joined(line.ref, one.on),
                    dollars_cents=difference,
                    severity="paper",
                    life="fact",
                    evidence=(one.id,),
                    remedy=(
                        step(
                            "The lender posted {posted} for {nights} nights, computed {computed}: "
                            "check the rate on the statement, then ask the lender.",
                            posted=one.posted,
                            nights=str(one.nights),
                            computed=one.computed,
                        ),
                    ),
                )
            )
    return tuple(found)


def deduction_off_plan(context: DriftContext) -> tuple[Finding, ...]:
    """Deductible interest of the year so far differs from the plan's by > 10% and > 250.

    Months before the plan's start are left out of both. Dollars: the difference.
    """
    plan = context.household.plan
    if plan is None or context.month not in context.plan_rows:
        return ()
    year, since = context.month[:4], month_of(plan.starts)
    months = [
        month
        for month in (f"{year}-{number:02d}" for number in range(1, 13))
        if since <= month <= context.month
    ]
    planned = sum(context.plan_rows[one].deductible for one in months if one in context.plan_rows)
    actual = sum(context.trace.deductible(one) for one in months)
    difference = abs(actual - planned)
    limits = context.thresholds
    if difference <= limits.deduction_cents:
        return ()
    if difference <= share_of(abs(planned), limits.deduction_share):
        return ()
    cost = 0
    if actual < planned:
        cost = context.tax_on(Fraction(difference * 12, len(months)))
    return (
        Finding(
            code="deduction-off-plan",
            key=year,
            dollars_cents=difference,
            severity="note",
            life="state",
            cost_per_year_cents=cost,
            remedy=(
                step(
                    "Deductible interest so far is {actual}, planned {planned}: read the "
                    "attribution of the month for the causes.",
                    actual=actual,
                    planned=planned,
                ),
                step("Where the plan is out of date, make a new version of it."),
            ),
        ),
    )
