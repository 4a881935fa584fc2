"""Who stands behind line and account; what the portfolio still covers."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from ledger.core.drift.context import DriftContext
from ledger.core.drift.findings import Finding, Severity, step
from ledger.core.portfolio import latest_ended, value_of
from ledger.core.trace_view import LineView


def owner_mismatch(context: DriftContext) -> tuple[Finding, ...]:
    """Borrowers, payer, claimant and the owners of the accounts bought are not the same people.

    Silent without eligible principal, or when a memo on the line explains it.
    Dollars: the interest posted in the year to date.
    """
    found = []
    owners = {one.ref: frozenset(one.owners) for one in context.household.investments}
    for line in context.household.lines:
        view = context.trace.lines.get(line.ref)
        if view is None or view.principal[0] <= 0 or line.owners_explained:
            continue
        groups = [frozenset(line.borrowers)]
        groups += [frozenset({one}) for one in (line.payer, line.claimant) if one]
        groups += [
            owners[ref] for ref, cents in view.targets.items() if cents > 0 and ref in owners
        ]
        if len({one for one in groups if one}) < 2:
            continue
        posted = _posted_this_year(context, view)
        found.append(
            Finding(
                code="owner-mismatch",
                key=line.ref,
                dollars_cents=posted,
                severity="act",
                life="state",
                evidence=tuple(
                    one.id for one in view.postings if one.on.year == context.as_of.year
                ),
                cost_per_year_cents=_claim_at_risk(context, line.ref, view),
                remedy=(
                    step(
                        "Ask the household's accountant before the next claim: the person who "
                        "borrows, pays, owns the investments and claims on {line} must be one.",
                        line=line.ref,
                    ),
                    step("Re-title the account, or put the explanation on file."),
                ),
            )
        )
    return tuple(found)


def _posted_this_year(context: DriftContext, view: LineView) -> int:
    return sum(one.posted for one in view.postings if one.on.year == context.as_of.year)


def _claim_at_risk(context: DriftContext, line: str, view: LineView) -> int:
    """A year's tax on the interest of the whole eligible principal."""
    return context.lost_tax(view.principal[0], line, claimed=True)


def underwater(context: DriftContext) -> tuple[Finding, ...]:
    """The non-registered portfolio is worth less than the lines owe.

    Values are those of the latest statements that had ended; silent while an
    account the line paid for has none. Dollars: the shortfall. Below 100% a
    note, below 90% to fix, below 80% to act on.
    """
    linked = {
        ref for line in context.trace.lines.values() for ref, cents in line.targets.items() if cents
    }
    portfolio = 0
    for account in context.household.investments:
        latest = latest_ended(context.book.statements.get(account.ref, ()), context.as_of)
        if latest is None:
            if account.ref in linked:
                return ()
            continue
        if account.kind == "non-registered":
            portfolio += value_of(latest)
    owed = context.book.lines_on(context.as_of)
    if portfolio >= Fraction(context.thresholds.underwater_note) * owed:
        return ()
    return (
        Finding(
            code="underwater",
            key=context.household.ref,
            dollars_cents=max(0, owed - portfolio),
            severity=_severity(context, portfolio, owed),
            life="state",
            remedy=(
                step(
                    "The portfolio of {portfolio} no longer covers the {owed} owed: review with "
                    "the household whether it can carry the loss and the payments.",
                    portfolio=portfolio,
                    owed=owed,
                ),
                step("Hold new draws until the review is on file."),
            ),
        ),
    )


def _severity(context: DriftContext, portfolio: int, owed: int) -> Severity:
    def below(share: Decimal) -> bool:
        return portfolio < Fraction(share) * owed

    if below(context.thresholds.underwater_act):
        return "act"
    return "fix" if below(context.thresholds.underwater_fix) else "note"
