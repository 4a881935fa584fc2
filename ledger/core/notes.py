"""Questions a month leaves for a person, short of a finding."""

from __future__ import annotations

from datetime import timedelta

from ledger.core.drift.context import DriftContext
from ledger.core.drift.findings import Step, step

REPAYMENT_DAYS = 5
"""How soon money withdrawn for the line is expected to arrive there."""


def month_notes(context: DriftContext) -> tuple[Step, ...]:
    """Withdrawals sent to the line that repayments did not match within 5 days.

    Asked in the month in which the fifth day falls. Principal falls by the
    repayment alone, so without one nothing has changed on the line.
    """
    repaid = [
        (one.date, one.amount_cents)
        for line in context.household.lines
        for one in context.book.entries(line.ref, "repayment", context.as_of)
    ]
    found = []
    for account in context.household.investments:
        for entry in context.book.entries(account.ref, "withdrawal", context.as_of):
            last = entry.date + timedelta(days=REPAYMENT_DAYS)
            if entry.to != "line" or last > context.as_of or not context.in_month(last):
                continue
            arrived = sum(cents for day, cents in repaid if entry.date <= day <= last)
            if arrived >= entry.amount_cents:
                continue
            found.append(
                step(
                    "{amount} left {account} for the line on {day}, and less than that was "
                    "repaid within 5 days: find out where it went.",
                    amount=entry.amount_cents,
                    account=account.ref,
                    day=entry.date.isoformat(),
                )
            )
    return tuple(found)
