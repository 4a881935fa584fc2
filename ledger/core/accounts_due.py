"""Per account: what a month should have brought, what its statements show, the difference."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ledger.core.drift.context import DriftContext
from ledger.core.drift.mortgage import payment_due
from ledger.core.portfolio import value_on
from planning.core.amortization import payments_before, scheduled_dates
from planning.core.months import first_day

Due = Literal["payments", "interest", "contributions"]


@dataclass(frozen=True, slots=True)
class AccountDue:
    """One account's month. Amounts in cents.

    A mortgage is due its scheduled payments by the contract; a line the
    interest computed for its postings of the month; a non-registered account
    what was drawn to be invested in it. `stated` is what the statements show,
    `covered` whether one of them covers the month's last day.
    """

    account: str
    what: Due
    due: int
    stated: int
    closing: int
    covered: bool

    @property
    def difference(self) -> int:
        """Stated less due."""
        return self.stated - self.due


def accounts_due(context: DriftContext) -> tuple[AccountDue, ...]:
    """Every account of the household that has a statement, in listing order."""
    return (*_mortgages(context), *_lines(context), *_investments(context))


def _covered(context: DriftContext, account: str) -> bool:
    return context.book.statement_covering(account, context.as_of) is not None


def _mortgages(context: DriftContext) -> list[AccountDue]:
    found = []
    for ref, book in context.book.mortgages.items():
        if book.known_since is None or book.known_since > context.as_of:
            continue
        first = max(first_day(context.month), book.known_since)
        index = payments_before(book.mortgage, first)
        dates = scheduled_dates(book.mortgage, first, context.as_of)
        due = sum(payment_due(context, book, index + offset) for offset, _ in enumerate(dates))
        stated = sum(
            one.amount for one in book.facts if one.kind == "payment" and context.in_month(one.on)
        )
        balance = book.balance_on(context.as_of)
        found.append(AccountDue(ref, "payments", due, stated, balance, _covered(context, ref)))
    return found


def _lines(context: DriftContext) -> list[AccountDue]:
    found = []
    for ref, view in context.trace.lines.items():
        posted = [one for one in view.postings if context.in_month(one.on)]
        due = sum(one.posted if one.computed is None else one.computed for one in posted)
        stated = sum(one.posted for one in posted)
        balance = context.book.line_on(ref, context.as_of)
        found.append(AccountDue(ref, "interest", due, stated, balance, _covered(context, ref)))
    return found


def _investments(context: DriftContext) -> list[AccountDue]:
    found = []
    for account in context.household.investments:
        statements = context.book.statements.get(account.ref, ())
        if account.kind != "non-registered" or not statements:
            continue
        if statements[0].starts > context.as_of:
            continue
        stated = sum(
            one.amount_cents
            for one in context.book.entries(account.ref, "contribution", context.as_of)
            if context.in_month(one.date)
        )
        closing = value_on(statements, context.as_of)
        found.append(
            AccountDue(
                account.ref,
                "contributions",
                _drawn_for(context, account.ref),
                stated,
                closing,
                _covered(context, account.ref),
            )
        )
    return found


def _drawn_for(context: DriftContext, account: str) -> int:
    drawn = {one.id for one in context.trace.draws if context.in_month(one.on)}
    return sum(
        split.amount_cents
        for use in context.household.uses
        if use.draw in drawn
        for split in use.splits
        if split.use == "income-investment" and split.to == account
    )
