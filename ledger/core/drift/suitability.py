"""Whether the household can bear the borrowing, and whether it was told the risk lately.

Silent on whatever the household file does not say. Sources of the figures:
MSN-0069 with the leverage criteria of Policy 2 (as usually cited) and MFD Rule
2.6 for the six months of a leverage disclosure.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from ledger.core.drift.context import DriftContext
from ledger.core.drift.findings import Finding, Step, joined, step
from ledger.core.drift.mortgage import payment_due
from ledger.core.drift.thresholds import share_of
from planning.core.amortization import payments_before
from planning.core.money import round_half_up
from planning.core.months import day_in_month, month_of, next_month, shift_month
from planning.core.rates import PAYMENTS_A_YEAR
from planning.core.suitability import Assessment

_OWN_PURPOSES = ("business", "rental")
_REVIEW = step(
    "Hold new draws until the review is on file with who signed it off; otherwise lower the "
    "borrowing."
)


@dataclass(frozen=True, slots=True)
class _Crossed:
    """A test that was crossed, its measure in cents, and the remedy's first step."""

    test: str
    measure: int
    words: Step


def leverage_threshold(context: DriftContext) -> tuple[Finding, ...]:
    """A leverage test of the firm is crossed while money is borrowed to invest.

    Borrowed is what the lines owe but for ineligible, business and rental use,
    and the other loans of the latest assessment. Dollars: what is measured
    against the net worth or income, 0.00 for the tests that are not of money.
    """
    assessed = context.household.suitability.up_to(context.as_of).assessments
    latest = assessed[-1] if assessed else None
    borrowed = _borrowed(context) + ((latest.other_loans_cents or 0) if latest else 0)
    if borrowed <= 0:
        return ()
    crossed = [*_by_age(context)]
    if latest is not None:
        crossed = [*_by_worth(context, latest, borrowed), *_by_income(context, latest), *crossed]
        crossed += _by_profile(context, latest)
    return tuple(
        Finding(
            code="leverage-threshold",
            key=joined(context.household.ref, one.test),
            dollars_cents=one.measure,
            severity="act",
            life="state",
            evidence=_draws_of_month(context),
            remedy=(one.words, _REVIEW),
        )
        for one in crossed
    )


def _borrowed(context: DriftContext) -> int:
    """What the lines owe for investing, or for a use not shown yet."""
    total = 0
    for line in context.trace.lines.values():
        counted = sum(line.principal[:2]) + sum(line.unpaid[:2])
        own = sum(line.targets.get(name, 0) for name in _OWN_PURPOSES)
        total += max(0, counted - own)
    return total


def _draws_of_month(context: DriftContext) -> tuple[str, ...]:
    return tuple(
        one.id for one in context.trace.draws if one.kind == "draw" and context.in_month(one.on)
    )


def _by_worth(context: DriftContext, known: Assessment, borrowed: int) -> Iterator[_Crossed]:
    limits = context.thresholds
    worth, share = known.net_worth_cents, limits.leverage_net_worth
    if worth is not None and borrowed > share_of(worth, share):
        words = step(
            "Review the suitability of borrowing: {borrowed} borrowed to invest is more than "
            "{limit}, the firm's share of the net worth of {worth}.",
            borrowed=borrowed,
            limit=max(0, round_half_up(share_of(worth, share))),
            worth=worth,
        )
        yield _Crossed("net-worth", borrowed, words)
    worth, share = known.liquid_net_worth_cents, limits.leverage_liquid
    if worth is not None and borrowed > share_of(worth, share):
        words = step(
            "Review the suitability of borrowing: {borrowed} borrowed to invest is more than "
            "{limit}, the firm's share of the liquid net worth of {worth}.",
            borrowed=borrowed,
            limit=max(0, round_half_up(share_of(worth, share))),
            worth=worth,
        )
        yield _Crossed("liquid-net-worth", borrowed, words)


def _by_income(context: DriftContext, known: Assessment) -> Iterator[_Crossed]:
    income = known.gross_income_cents
    if income is None:
        return
    payments = _payments_a_year(context, known)
    allowed = share_of(income, context.thresholds.debt_service)
    if payments > allowed:
        yield _Crossed(
            "debt-service",
            round_half_up(payments),
            step(
                "Review whether the payments can be carried: {payments} a year is more than "
                "{limit}, the firm's share of a gross income of {income}.",
                payments=round_half_up(payments),
                limit=round_half_up(allowed),
                income=income,
            ),
        )


def _payments_a_year(context: DriftContext, known: Assessment) -> Fraction:
    """Scheduled mortgage payments, the lines' interest and other payments, a year, in cents."""
    total = Fraction(12 * (known.other_payments_cents or 0))
    for book in context.book.mortgages.values():
        if book.balance_on(context.as_of) <= 0:
            continue
        made = payments_before(book.mortgage, context.as_of + timedelta(days=1))
        payment = payment_due(context, book, max(0, made - 1))
        total += payment * PAYMENTS_A_YEAR[book.mortgage.frequency]
    for ref in context.trace.lines:
        total += context.interest_at_line_rate(
            max(0, context.book.line_on(ref, context.as_of)), ref
        )
    return total


def _by_age(context: DriftContext) -> Iterator[_Crossed]:
    """The oldest borrower is, in the year of the close, as old as the threshold."""
    named = {ref for line in context.household.lines for ref in line.borrowers}
    born = [
        one.born
        for one in context.household.members
        if one.born is not None and (one.ref in named or not named)
    ]
    if born and context.as_of.year - min(born) >= context.thresholds.leverage_age_years:
        age = str(context.as_of.year - min(born))
        yield _Crossed(
            "age",
            0,
            step(
                "Review the suitability of borrowing: the oldest borrower turns {age} this year.",
                age=age,
            ),
        )


def _by_profile(context: DriftContext, known: Assessment) -> Iterator[_Crossed]:
    years = known.horizon_years
    if years is not None and years < context.thresholds.leverage_horizon_years:
        words = step(
            "Review the suitability of borrowing: the horizon on file is {years} years.",
            years=str(years),
        )
        yield _Crossed("horizon", 0, words)
    if known.knowledge == "low":
        words = step("Review the suitability of borrowing: investment knowledge on file is low.")
        yield _Crossed("knowledge", 0, words)
    if known.risk_tolerance == "low":
        words = step(
            "Review the suitability of borrowing: the risk tolerance on file is below medium."
        )
        yield _Crossed("risk-tolerance", 0, words)


def disclosure_stale(context: DriftContext) -> tuple[Finding, ...]:
    """The plan draws again next month, and the last leverage disclosure is older than 6 months.

    Silent while no disclosure is on file. Six months from the 31st end on the
    last day of a shorter month, that day included.
    """
    given = context.household.suitability.up_to(context.as_of).disclosures
    if not given or not _draws_next_month(context):
        return ()
    last = _months_later(given[-1], context.thresholds.disclosure_months)
    if context.as_of <= last:
        return ()
    return (
        Finding(
            code="disclosure-stale",
            key=context.household.ref,
            dollars_cents=0,
            severity="act",
            life="state",
            evidence=_draws_of_month(context),
            remedy=(
                step(
                    "Send the leverage risk disclosure again before the next draw; the last one "
                    "was given on {given}.",
                    given=given[-1].isoformat(),
                ),
                step("Record the day on which it was given."),
            ),
        ),
    )


def _draws_next_month(context: DriftContext) -> bool:
    plan = context.household.plan
    row = context.plan_rows.get(next_month(context.month))
    return plan is not None and plan.reborrow is not None and row is not None and row.draw > 0


def _months_later(day: date, months: int) -> date:
    year, month = shift_month(month_of(day), months).split("-")
    return day_in_month(int(year), int(month), day.day)
