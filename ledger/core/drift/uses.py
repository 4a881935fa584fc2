"""What draws were used for: personal, registered, without paper, idle; the mixed line."""

from __future__ import annotations

from ledger.core.cure import LineState, cure_mixed_line
from ledger.core.drift.context import DriftContext
from ledger.core.drift.findings import Finding, Step, step
from ledger.core.trace_types import DrawTrace
from planning.core.types import Entry


def personal_use(context: DriftContext) -> tuple[Finding, ...]:
    """A draw, fee, opening or adjustment with an ineligible part.

    Parts that went into a registered plan or paid a line's interest are left
    out. Dollars: the part. It lives while the line has ineligible principal.
    """
    return tuple(
        _ineligible_finding(context, one, "personal-use", one.personal)
        for one in context.trace.draws
        if one.personal > 0 and context.uncured((one.line,), one.on)
    )


def registered_destination(context: DriftContext) -> tuple[Finding, ...]:
    """A draw, or an account in kind, went into a registered plan.

    Dollars: the registered parts of the draw, or the principal moved.
    """
    draws = [
        _ineligible_finding(context, one, "registered-destination", one.registered)
        for one in context.trace.draws
        if one.registered > 0 and context.uncured((one.line,), one.on)
    ]
    moves = [
        Finding(
            code="registered-destination",
            key=one.id,
            dollars_cents=one.moved,
            severity="act",
            life="cure",
            evidence=(one.id,),
            cost_per_year_cents=context.lost_tax(one.moved, one.lines[0]),
            remedy=(
                step(
                    "{moved} of the line stopped being deductible on {day}, when units moved "
                    "into a registered plan: contribute own cash instead next time.",
                    moved=one.moved,
                    day=one.on.isoformat(),
                ),
                *_split_and_repay(context, one.lines[0]),
            ),
        )
        for one in context.trace.leaks
        if one.rule == "registered" and one.moved > 0 and context.uncured(one.lines, one.on)
    ]
    return (*draws, *moves)


def _ineligible_finding(context: DriftContext, draw: DrawTrace, code: str, dollars: int) -> Finding:
    reason = (
        "{dollars} of {draw} went into a registered plan, where interest is never deductible."
        if code == "registered-destination"
        else "{dollars} of {draw} was not used to earn income; its interest is not deductible."
    )
    return Finding(
        code=code,
        key=draw.id,
        dollars_cents=dollars,
        severity="act",
        life="cure",
        evidence=(draw.id,),
        cost_per_year_cents=context.lost_tax(dollars, draw.line),
        remedy=(
            step(reason, dollars=dollars, draw=draw.id),
            *_split_and_repay(context, draw.line),
        ),
    )


def _split_and_repay(context: DriftContext, line: str) -> tuple[Step, ...]:
    view = context.trace.lines[line]
    state = LineState(view.principal, view.unpaid)
    if state.owed_in(2) == state.balance:
        return (
            step(
                "Repay the {balance} on {line}; all of it is ineligible.",
                balance=state.balance,
                line=line,
            ),
        )
    return cure_mixed_line(line, state).steps


def unsupported_draw(context: DriftContext) -> tuple[Finding, ...]:
    """Unsupported money drawn more than 30 days ago, for want of evidence.

    Draws, openings and adjustments; fees are not asked about. Dollars: that
    part as first drawn.
    """
    return tuple(
        Finding(
            code="unsupported-draw",
            key=one.id,
            dollars_cents=one.without_paper,
            severity="paper",
            life="fact",
            evidence=(one.id,),
            cost_per_year_cents=context.lost_tax(one.without_paper, one.line),
            remedy=(
                step(
                    "Get the confirmation of what {amount} of {draw} bought, and attach it with "
                    "the use and the account.",
                    amount=one.without_paper,
                    draw=one.id,
                ),
                step("If there is none, record what the money was used for."),
            ),
        )
        for one in context.trace.draws
        if one.kind != "fee"
        and one.without_paper > 0
        and context.age(one.on) > context.thresholds.unsupported_days
    )


def idle_draw(context: DriftContext) -> tuple[Finding, ...]:
    """A draw whose own contribution came more than 5 days after it; then paper is needed.

    Reported in the month of the first such contribution. Dollars: the draw's
    parts for investment.
    """
    invested = {
        use.draw: sum(one.amount_cents for one in use.splits if one.use == "income-investment")
        for use in context.household.uses
    }
    late = _first_late_contributions(context)
    found = []
    for draw, contribution in late:
        dollars = invested.get(draw.id, 0)
        if dollars <= 0 or not context.in_month(contribution.date):
            continue
        days = (contribution.date - draw.date).days
        found.append(
            Finding(
                code="idle-draw",
                key=draw.id,
                dollars_cents=dollars,
                severity="paper",
                life="month",
                evidence=(draw.id, contribution.id),
                remedy=(
                    step(
                        "The money of {draw} waited {days} days before it was invested: keep the "
                        "paper that shows where it lay.",
                        draw=draw.id,
                        days=str(days),
                    ),
                    step("Send the next draw to the investment account on the same day."),
                ),
            )
        )
    return tuple(found)


def _first_late_contributions(context: DriftContext) -> list[tuple[Entry, Entry]]:
    """Each draw with the first contribution that names it more than 5 days later."""
    draws = {
        one.id: one
        for line in context.household.lines
        for one in context.book.entries(line.ref, "draw", context.as_of)
    }
    first: dict[str, Entry] = {}
    for account in context.household.investments:
        for one in context.book.entries(account.ref, "contribution", context.as_of):
            draw = draws.get(one.source or "")
            if draw is None or (one.date - draw.date).days <= context.thresholds.idle_days:
                continue
            if draw.id not in first or one.date < first[draw.id].date:
                first[draw.id] = one
    return [(draws[ref], one) for ref, one in first.items()]


def mixed_line(context: DriftContext) -> tuple[Finding, ...]:
    """A line with eligible and ineligible principal at once. Dollars: the ineligible principal."""
    found = []
    for line in context.trace.lines.values():
        if line.principal[0] <= 0 or line.principal[2] <= 0:
            continue
        found.append(
            Finding(
                code="mixed-line",
                key=line.ref,
                dollars_cents=line.principal[2],
                severity="act",
                life="state",
                evidence=_who_made_it_mixed(context, line.ref),
                cost_per_year_cents=context.lost_tax(line.principal[2], line.ref),
                remedy=cure_mixed_line(line.ref, LineState(line.principal, line.unpaid)).steps,
            )
        )
    return tuple(found)


def _who_made_it_mixed(context: DriftContext, line: str) -> tuple[str, ...]:
    draws = [one.id for one in context.trace.draws if one.line == line and one.classes[2] > 0]
    leaks = [one.id for one in context.trace.leaks if line in one.lines and one.moved > 0]
    return tuple(dict.fromkeys((*draws, *leaks)))
