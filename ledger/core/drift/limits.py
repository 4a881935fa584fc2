"""The line's limit: shorter than computed, cut, passed; the facility above its caps."""

from __future__ import annotations

from datetime import date

from ledger.core.drift.context import DriftContext
from ledger.core.drift.findings import Finding, joined, step
from ledger.core.drift.thresholds import share_of
from planning.core.money import round_half_up
from planning.core.room import cap65_cents
from planning.core.types import Statement


def _ended_in_month(context: DriftContext, line: str) -> list[tuple[Statement, Statement | None]]:
    """The line's statements with a limit that ended in the month, each with the one before
    that stated a limit.
    """
    found: list[tuple[Statement, Statement | None]] = []
    previous: Statement | None = None
    for statement in context.book.statements.get(line, ()):
        if statement.limit_cents is None:
            continue
        if context.in_month(statement.ends):
            found.append((statement, previous))
        previous = statement
    return found


def limit_short(context: DriftContext) -> tuple[Finding, ...]:
    """A statement of the month states a limit more than 50.00 below min(line_cap, G - M)."""
    found = []
    for line in context.household.lines:
        short = 0
        for statement, _ in _ended_in_month(context, line.ref):
            computed = context.book.unclipped_limit_on(statement.ends)
            stated = statement.limit_cents
            if computed is None or stated is None:
                continue
            if computed - stated > context.thresholds.limit_short_cents:
                short = max(short, computed - stated)
        if short:
            found.append(
                Finding(
                    code="limit-short",
                    key=joined(line.ref, context.month),
                    dollars_cents=short,
                    severity="fix",
                    life="month",
                    cost_per_year_cents=context.lost_tax(short, line.ref),
                    remedy=(
                        step(
                            "Ask the lender why the limit of {line} stands {short} below what "
                            "the principal paid should allow, and by which rule it rises.",
                            line=line.ref,
                            short=short,
                        ),
                        step("If the lender's rule differs from the one on file, change it here."),
                    ),
                )
            )
    return tuple(found)


def limit_cut(context: DriftContext) -> tuple[Finding, ...]:
    """A stated limit fell by more than 50.00 while the mortgage fell too."""
    found = []
    for line in context.household.lines:
        drop = 0
        for statement, previous in _ended_in_month(context, line.ref):
            if previous is None:
                continue
            fell = (previous.limit_cents or 0) - (statement.limit_cents or 0)
            if fell > context.thresholds.limit_cut_cents and _mortgage_fell(
                context, previous.ends, statement.ends
            ):
                drop = max(drop, fell)
        if drop:
            found.append(
                Finding(
                    code="limit-cut",
                    key=joined(line.ref, context.month),
                    dollars_cents=drop,
                    severity="act",
                    life="month",
                    cost_per_year_cents=context.lost_tax(drop, line.ref),
                    remedy=(
                        step(
                            "The lender lowered the limit of {line} by {drop}: ask for the "
                            "reason and whether the line may be called.",
                            line=line.ref,
                            drop=drop,
                        ),
                        step("Hold new draws until the reason is on file; review liquidity."),
                    ),
                )
            )
    return tuple(found)


def _mortgage_fell(context: DriftContext, before: date, after: date) -> bool:
    book = context.book
    return book.mortgages_known and book.mortgage_on(after) < book.mortgage_on(before)


def over_limit(context: DriftContext) -> tuple[Finding, ...]:
    """A line owes more than its limit.

    The limit of the statement that covers the close is compared with that
    line's balance; without one the computed limit with all lines' balances.
    """
    found = []
    for line in context.household.lines:
        if line.ref not in context.book.statements:
            continue
        stated = context.book.stated_limit_on(line.ref, context.as_of)
        if stated is not None:
            limit: int | None = stated
            owed = context.book.line_on(line.ref, context.as_of)
        else:
            limit = context.book.computed_limit_on(context.as_of)
            owed = context.book.lines_on(context.as_of)
        if limit is None or owed <= limit:
            continue
        excess = owed - limit
        found.append(
            Finding(
                code="over-limit",
                key=line.ref,
                dollars_cents=excess,
                severity="fix",
                life="state",
                remedy=(
                    step(
                        "Repay {excess} on {line} from cash to come back to its limit of {limit}.",
                        excess=excess,
                        line=line.ref,
                        limit=limit,
                    ),
                    step("Draw nothing until the balance is below the limit."),
                ),
            )
        )
    return tuple(found)


def cap_exceeded(context: DriftContext) -> tuple[Finding, ...]:
    """The lines above the revolving cap, or mortgage and lines above 80% of the value on file."""
    facility, book = context.household.facility, context.book
    drawn = book.lines_on(context.as_of)
    excess = drawn - cap65_cents(facility)
    if book.mortgages_known:
        most = round_half_up(
            share_of(facility.lender_value_cents, context.thresholds.loan_to_value)
        )
        excess = max(excess, book.mortgage_on(context.as_of) + drawn - most)
    if excess <= 0:
        return ()
    return (
        Finding(
            code="cap-exceeded",
            key="facility",
            dollars_cents=excess,
            severity="fix",
            life="state",
            remedy=(
                step("Bring the debt on the facility down by {excess}.", excess=excess),
                step("Check the value the lender has on file; a new appraisal may lift the cap."),
            ),
        ),
    )
