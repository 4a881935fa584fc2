"""How to cure a mixed line, in amounts to the cent.

A repayment on one line falls on every use in proportion (interpretation of
income tax folio S3-F6-C1, and CRA letter 2007-0221071E5), so no part payment
clears the ineligible part. Money borrowed to repay borrowed money takes over
its use (Income Tax Act, subsection 20(3)), so the line can be split into
sub-accounts of one class each; then the ineligible one is repaid alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from ledger.core.drift.findings import Step, step
from planning.core.money import prorate, round_half_up

Classes = tuple[int, int, int]
"""Eligible, unsupported, ineligible, in cents."""


@dataclass(frozen=True, slots=True)
class LineState:
    """A line's principal and unpaid interest by class, in cents."""

    principal: Classes
    unpaid_interest: Classes

    @property
    def balance(self) -> int:
        """What the statement shows as owed."""
        return sum(self.principal) + sum(self.unpaid_interest)

    def owed_in(self, index: int) -> int:
        """Principal and unpaid interest of one class."""
        return self.principal[index] + self.unpaid_interest[index]

    @property
    def eligible_share(self) -> Fraction:
        """The eligible part of the principal; 0 without principal."""
        whole = sum(self.principal)
        return Fraction(self.principal[0], whole) if whole > 0 else Fraction(0)


@dataclass(frozen=True, slots=True)
class Cure:
    """What splitting and repaying comes to, and what a part payment would not do.

    `eligible_account`, `unsupported_account`, `ineligible_account` are the
    sub-accounts to open, together the balance. `repaid_without_split` is what a
    repayment of the ineligible amount on the undivided line would leave;
    `payoff` what paying the whole line takes.
    """

    eligible_account: int
    unsupported_account: int
    ineligible_account: int
    share_before: Fraction
    share_after_part_payment: Fraction
    repaid_without_split: LineState
    payoff: int
    steps: tuple[Step, ...]


def repay(state: LineState, amount: int) -> LineState:
    """The line after a repayment: unpaid interest first, then principal, each prorated.

    Which posting interest belongs to does not matter here; the whole of it is
    prorated over the classes.
    """
    to_interest = min(amount, sum(state.unpaid_interest))
    to_principal = min(amount - to_interest, sum(state.principal))
    return LineState(
        _less(state.principal, to_principal), _less(state.unpaid_interest, to_interest)
    )


def _less(classes: Classes, amount: int) -> Classes:
    if amount <= 0:
        return classes
    first, second, third = (
        have - part for have, part in zip(classes, prorate(amount, classes), strict=True)
    )
    return first, second, third


def cure_mixed_line(line: str, state: LineState) -> Cure:
    """The cure of a line with eligible and ineligible principal.

    Amounts include the unpaid interest of each class. The part payment shown is
    one of the ineligible amount, or of half of it where that would pay off the
    line.
    """
    eligible, unsupported, ineligible = (state.owed_in(index) for index in range(3))
    part = ineligible if ineligible < state.balance else ineligible // 2
    after = repay(state, part)
    steps = [
        step(
            "Ask the lender to split {line} by refinancing into {eligible} for the eligible use "
            "and {ineligible} for the rest, both paid out on the same day to the cent.",
            line=line,
            eligible=eligible,
            ineligible=ineligible,
        )
    ]
    if unsupported:
        steps.append(
            step(
                "Put the {unsupported} without evidence in a third sub-account until its paper "
                "is on file.",
                unsupported=unsupported,
            )
        )
    steps += [
        step(
            "Then repay the {ineligible} sub-account alone; the eligible one stays whole.",
            ineligible=ineligible,
        ),
        step(
            "Do not repay before the split: {part} paid on the undivided line would leave "
            "{still} ineligible, and {before} of the principal eligible before and {after} after.",
            part=part,
            still=after.owed_in(2),
            before=percent_text(state.eligible_share),
            after=percent_text(after.eligible_share),
        ),
        step(
            "Without a split only paying the whole line, {payoff}, clears it.", payoff=state.balance
        ),
    ]
    return Cure(
        eligible_account=eligible,
        unsupported_account=unsupported,
        ineligible_account=ineligible,
        share_before=state.eligible_share,
        share_after_part_payment=after.eligible_share,
        repaid_without_split=after,
        payoff=state.balance,
        steps=tuple(steps),
    )


def percent_text(share: Fraction) -> str:
    """A share in percent with two decimals, half up: 2/5 -> "40.00%"."""
    hundredths = round_half_up(share * 10_000)
    return f"{hundredths // 100}.{hundredths % 100:02d}%"
