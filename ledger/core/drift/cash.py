"""Refunds and distributions that the plan prepays and life did not."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, timedelta

from ledger.core.drift.context import DriftContext
from ledger.core.drift.findings import Finding, joined, step
from ledger.core.drift.thresholds import share_of
from ledger.core.mortgage_facts import MortgageFact
from planning.core.money import round_half_up
from planning.core.months import month_of


def _prepayments(context: DriftContext) -> list[MortgageFact]:
    found = [
        one
        for book in context.book.mortgages.values()
        for one in book.facts
        if one.kind == "prepayment" and one.on <= context.as_of
    ]
    return sorted(found, key=lambda one: one.on)


def _mortgage_rate_cost(context: DriftContext, cents: int) -> int:
    """A year's mortgage interest on an amount, at the plan's last rate; 0 when unknown."""
    rate = None
    for one in context.plan.payments:
        if one.date > context.as_of:
            break
        rate = one.rate if one.payment else rate
    return 0 if rate is None else round_half_up(share_of(cents, rate))


def refund_not_applied(context: DriftContext) -> tuple[Finding, ...]:
    """The plan prepays a refund, and 60 days later less than 90% of it was prepaid.

    The refund falls due on the plan's first payment date of the refund month;
    every prepayment of the 60 days after it counts. Key: the year it falls due.
    Dollars: what is missing of it.
    """
    plan, limits = context.household.plan, context.thresholds
    if plan is None or plan.refund != "prepay":
        return ()
    found = []
    for row in context.plan.rows:
        if row.month > context.month:
            break
        due = _refund_due(context, row.month) if row.refund > 0 else None
        if due is None:
            continue
        until = due + timedelta(days=limits.refund_days)
        if until > context.as_of or not _some_mortgage_covers(context, until):
            continue
        made = [one for one in _prepayments(context) if due <= one.on <= until]
        applied = sum(one.amount for one in made)
        if applied >= share_of(row.refund, limits.refund_share):
            continue
        short = row.refund - applied
        found.append(
            Finding(
                code="refund-not-applied",
                key=joined(row.month[:4]),
                dollars_cents=short,
                severity="fix",
                life="fact",
                evidence=tuple(one.id for one in made),
                cost_per_year_cents=_mortgage_rate_cost(context, short),
                remedy=(
                    step(
                        "Prepay the {short} of the {year} refund that is not on the mortgage yet.",
                        short=short,
                        year=row.month[:4],
                    ),
                    step("Re-borrow the room it frees on the same day."),
                ),
            )
        )
    return tuple(found)


def _refund_due(context: DriftContext, month: str) -> date | None:
    for one in context.plan.payments:
        if one.payment and month_of(one.date) == month:
            return one.date
    return None


def _some_mortgage_covers(context: DriftContext, day: date) -> bool:
    return any(
        context.book.statement_covering(ref, day) is not None for ref in context.book.mortgages
    )


@dataclass(slots=True)
class _Paid:
    """The distributions of one account and month, and what of them was prepaid in time."""

    total: int = 0
    applied: int = 0
    last: date = date.min
    ids: list[str] = field(default_factory=list)


def distribution_not_applied(context: DriftContext) -> tuple[Finding, ...]:
    """The plan prepays distributions, and 35 days later less than 90% was prepaid.

    Each prepayment serves the oldest distribution of the 35 days before it.
    Dollars: what is missing, by account and month.
    """
    plan, limits = context.household.plan, context.thresholds
    if plan is None or plan.investment.distributions != "prepay":
        return ()
    found = []
    for (account, month), paid in _applied(context).items():
        until = paid.last + timedelta(days=limits.distribution_days)
        if until > context.as_of or not _some_mortgage_covers(context, until):
            continue
        if paid.applied >= share_of(paid.total, limits.distribution_share):
            continue
        short = paid.total - paid.applied
        found.append(
            Finding(
                code="distribution-not-applied",
                key=joined(account, month),
                dollars_cents=short,
                severity="fix",
                life="fact",
                evidence=tuple(paid.ids),
                cost_per_year_cents=_mortgage_rate_cost(context, short),
                remedy=(
                    step(
                        "Prepay {short} out of the distributions of {account} in {month}, and "
                        "re-borrow the room on the same day.",
                        short=short,
                        account=account,
                        month=month,
                    ),
                    step(
                        "Prepay income only: a return of capital that leaves the account loses "
                        "its part of the deduction."
                    ),
                ),
            )
        )
    return tuple(found)


def _applied(context: DriftContext) -> dict[tuple[str, str], _Paid]:
    plan, book = context.household.plan, context.book
    assert plan is not None
    prepaid = _prepayments(context)
    left = [one.amount for one in prepaid]
    sums: dict[tuple[str, str], _Paid] = defaultdict(_Paid)
    entries = [
        (entry, account.ref)
        for account in context.household.investments
        if account.kind == "non-registered"
        for entry in book.entries(account.ref, "distribution", context.as_of)
        if entry.date >= plan.starts
    ]
    for entry, account in sorted(entries, key=lambda pair: pair[0].date):
        one = sums[(account, month_of(entry.date))]
        one.total += entry.amount_cents
        one.last = max(one.last, entry.date)
        one.ids.append(entry.id)
        wanted = entry.amount_cents
        until = entry.date + timedelta(days=context.thresholds.distribution_days)
        for index, made in enumerate(prepaid):
            if entry.date <= made.on <= until:
                taken = min(wanted, left[index])
                left[index] -= taken
                wanted -= taken
        one.applied += entry.amount_cents - wanted
    return sums
