"""Papers that are missing or do not add up."""

from __future__ import annotations

from ledger.core.drift.context import DriftContext
from ledger.core.drift.findings import Finding, joined, step
from ledger.core.mortgage_facts import states_principal
from planning.core.months import last_day, month_of, months_between
from planning.core.types import Entry, Statement


def balance_break(context: DriftContext) -> tuple[Finding, ...]:
    """A line or mortgage statement that does not follow from the one before, or from itself.

    Trigger, once the statement has ended: its opening differs from the previous
    closing on file, or its opening and entries lead elsewhere than its closing
    (a mortgage's only when every payment states its principal). Dollars: the
    sum of both differences.
    """
    mortgages = {one.ref for one in context.household.mortgages}
    accounts = [one.ref for one in context.household.mortgages]
    accounts += [one.ref for one in context.household.lines]
    found: dict[str, Finding] = {}
    for account in accounts:
        previous: Statement | None = None
        for statement in context.book.statements.get(account, ()):
            if statement.ends > context.as_of:
                break
            gap = 0
            if previous is not None:
                gap = abs(statement.opening_cents - previous.closing_cents)
            inside = abs(_unexplained(statement, mortgage=account in mortgages))
            previous = statement
            if not gap and not inside:
                continue
            key = joined(account, month_of(statement.ends))
            earlier = found[key].dollars_cents if key in found else 0
            found[key] = _break_finding(key, statement, gap, inside, earlier)
    return tuple(found.values())


def _break_finding(key: str, statement: Statement, gap: int, inside: int, earlier: int) -> Finding:
    steps = []
    if gap:
        steps.append(
            step(
                "The statement from {starts} opens {gap} away from the closing before it: "
                "ask for the statement in between, or for a corrected one.",
                starts=statement.starts.isoformat(),
                gap=gap,
            )
        )
    if inside:
        steps.append(
            step(
                "The entries to {ends} leave {inside} of the closing balance unexplained: "
                "check the statement for an entry that was not read.",
                ends=statement.ends.isoformat(),
                inside=inside,
            )
        )
    return Finding(
        code="balance-break",
        key=key,
        dollars_cents=earlier + gap + inside,
        severity="paper",
        life="fact",
        evidence=tuple(one.id for one in statement.entries),
        remedy=tuple(steps),
    )


def _unexplained(statement: Statement, *, mortgage: bool) -> int:
    """Closing less what opening and entries lead to; 0 where that cannot be known."""
    if mortgage and not states_principal(statement):
        return 0
    moved = sum(_mortgage_move(one) if mortgage else _line_move(one) for one in statement.entries)
    return statement.closing_cents - statement.opening_cents - moved


def _line_move(entry: Entry) -> int:
    return -entry.amount_cents if entry.kind == "repayment" else entry.amount_cents


def _mortgage_move(entry: Entry) -> int:
    if entry.kind == "payment":
        return -(entry.principal_cents or 0)
    return -entry.amount_cents if entry.kind == "prepayment" else entry.amount_cents


def statement_missing(context: DriftContext) -> tuple[Finding, ...]:
    """No statement of an account covers the last day of a month after its first one began."""
    household = context.household
    accounts = [one.ref for one in household.mortgages]
    accounts += [one.ref for one in household.lines]
    accounts += [one.ref for one in household.investments]
    found = []
    for account in accounts:
        statements = context.book.statements.get(account, ())
        if not statements:
            continue
        for month in months_between(month_of(statements[0].starts), context.month):
            last = last_day(month)
            if any(one.starts <= last <= one.ends for one in statements):
                continue
            found.append(
                Finding(
                    code="statement-missing",
                    key=joined(account, month),
                    dollars_cents=0,
                    severity="paper",
                    life="fact",
                    remedy=(
                        step(
                            "Ask the household or the institution for the statement of "
                            "{account} that covers {day}.",
                            account=account,
                            day=last.isoformat(),
                        ),
                    ),
                )
            )
    return tuple(found)
