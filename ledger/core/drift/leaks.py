"""Capital and proceeds that left an account and took their deduction along."""

from __future__ import annotations

from ledger.core.cure import LineState, cure_mixed_line
from ledger.core.drift.context import DriftContext
from ledger.core.drift.findings import Finding, Step, step
from ledger.core.trace_types import Leak

_REASONS = {
    "capital-leak": "A return of capital left the account on {day}; {moved} of the line is no "
    "longer used to earn income.",
    "proceeds-leak": "Proceeds of a sale left the account on {day}; {moved} of the line is no "
    "longer used to earn income.",
}
_HABITS = {
    "capital-leak": "Send the next return of capital to the line, or reinvest it at once.",
    "proceeds-leak": "Buy a replacement with what is left of the proceeds and keep the link.",
}


def capital_leak(context: DriftContext) -> tuple[Finding, ...]:
    """A return of capital that left the account. Dollars: the principal moved."""
    return _leaks(context, "capital", "capital-leak")


def proceeds_leak(context: DriftContext) -> tuple[Finding, ...]:
    """Sale proceeds that left the account. Dollars: the principal moved.

    Units moved in kind into a registered plan are `registered-destination`.
    """
    return _leaks(context, "proceeds", "proceeds-leak")


def _leaks(context: DriftContext, rule: str, code: str) -> tuple[Finding, ...]:
    return tuple(
        Finding(
            code=code,
            key=one.id,
            dollars_cents=one.moved,
            severity="act",
            life="cure",
            evidence=(one.id,),
            cost_per_year_cents=context.lost_tax(one.moved, one.lines[0]),
            remedy=_remedy(context, one, code),
        )
        for one in context.trace.leaks
        if one.rule == rule and one.moved > 0 and context.uncured(one.lines, one.on)
    )


def _remedy(context: DriftContext, leak: Leak, code: str) -> tuple[Step, ...]:
    steps = [
        step(_REASONS[code], day=leak.on.isoformat(), moved=leak.moved),
        step(_HABITS[code]),
    ]
    for ref in leak.lines:
        line = context.trace.lines[ref]
        if line.principal[2] > 0:
            steps += cure_mixed_line(ref, LineState(line.principal, line.unpaid)).steps
    return tuple(steps)


def income_overstated(context: DriftContext) -> tuple[Finding, ...]:
    """A withdrawal called income is larger than the cash income received so far.

    The entry is still believed. Dollars: the excess over the income just before it.
    """
    return tuple(
        Finding(
            code="income-overstated",
            key=entry,
            dollars_cents=excess,
            severity="paper",
            life="fact",
            evidence=(entry,),
            remedy=(
                step(
                    "{excess} of this withdrawal is more than the income the account had "
                    "received: check whether it was capital or proceeds.",
                    excess=excess,
                ),
            ),
        )
        for entry, _, excess in context.trace.overstated
        if excess > 0
    )
