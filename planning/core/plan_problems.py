"""What is wrong with a plan, all of it at once, before anything runs.

The household file's reader checks types and ranges; these checks need the
facility, the contracts and the calendar.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal

from config.problems import Problem
from planning.core.amortization import (
    contractual_payments,
    interest_cents,
    payments_before,
    scheduled_date,
)
from planning.core.money import text_from_cents
from planning.core.months import last_day, month_of, shift_month
from planning.core.rates import merged_prime, periodic_fraction, rate_on
from planning.core.room import limit_cents, opening_excess_cents, room_cents
from planning.core.types import Household, Mortgage, Plan, RateSteps, Term

_LATEST_SEMI_MONTHLY_DAY = 13
Found = Iterator[tuple[str, str, str]]


def plan_problems(household: Household, file: str) -> tuple[Problem, ...]:
    """Every fault of the household's plan that shows before it runs; none without a plan."""
    plan = household.plan
    if plan is None:
        return ()
    prime = merged_prime(plan.prime, household.prime)
    checks = (
        _calendar(household, plan),
        _accounts(household, plan),
        _openings(household, plan),
        _renewals(household, plan),
        _line_rates(household, plan, prime),
        _mortgages(household, plan, prime),
        _opening_draw(household, plan),
    )
    return tuple(
        Problem(file, where, message, remedy)
        for check in checks
        for where, message, remedy in check
    )


def opening_draw_problem(file: str, opening: int, room: int) -> Problem:
    """An opening draw for which there is no room."""
    return Problem(
        file,
        "plan.reborrow.opening_draw",
        f"the opening draw of {text_from_cents(opening)} exceeds the room, {text_from_cents(room)}",
        "Lower it, or correct the facility's limits and the plan's opening balances",
    )


def _calendar(household: Household, plan: Plan) -> Found:
    if plan.starts.day != 1:
        yield (
            "plan.starts",
            f"the plan starts on {plan.starts}, inside a month",
            "Start it on the first day of a month",
        )
    if plan.months < 1:
        yield "plan.months", "the plan has no month", "Give at least 1"
        return
    ends = last_day(shift_month(month_of(plan.starts), plan.months - 1))
    for index, extra in enumerate(plan.extras):
        if not plan.starts <= extra.on <= ends:
            yield (
                f"plan.extras[{index}].on",
                f"{extra.on} lies outside the plan",
                f"Use a day from {plan.starts} to {ends}",
            )
    for index, mortgage in enumerate(household.mortgages):
        late = mortgage.first_payment.day > _LATEST_SEMI_MONTHLY_DAY
        if mortgage.frequency == "semi-monthly" and late:
            yield (
                f"mortgages[{index}].first_payment",
                f"a semi-monthly schedule cannot begin on day {mortgage.first_payment.day}",
                "Give the earlier of the two days of a month, 1 to 13",
            )


def _accounts(household: Household, plan: Plan) -> Found:
    lines = {one.ref for one in household.lines}
    kinds = {one.ref: one.kind for one in household.investments}
    known = lines | set(kinds) | {one.ref for one in household.mortgages}
    for ref, cents in plan.opening:
        if ref not in known:
            yield (
                f"plan.opening.{ref}",
                f"there is no account {ref!r} in this household",
                "Name one of: " + ", ".join(sorted(known)),
            )
        elif cents < 0:
            yield f"plan.opening.{ref}", "an opening balance is below zero", "Use zero or more"
    reborrow = plan.reborrow
    if reborrow is not None:
        if reborrow.line not in lines:
            yield (
                "plan.reborrow.line",
                f"there is no line {reborrow.line!r} in this household",
                "Name one of: " + (", ".join(sorted(lines)) or "(none)"),
            )
        if kinds.get(reborrow.into) != "non-registered":
            taxable = sorted(ref for ref, kind in kinds.items() if kind == "non-registered")
            yield (
                "plan.reborrow.into",
                f"{reborrow.into!r} is not a non-registered investment account",
                "Name one of: " + (", ".join(taxable) or "(none)"),
            )
    if plan.refund == "invest" and reborrow is None:
        yield (
            "plan.refund",
            "the refund cannot be invested: the plan names no account to invest into",
            'Give plan.reborrow with its account, or use "prepay" or "keep"',
        )
    if plan.dam is not None and not lines:
        yield "plan.dam", "there is no line to draw the expenses from", "Add a line, or remove dam"


def _openings(household: Household, plan: Plan) -> Found:
    given = dict(plan.opening)
    for mortgage in household.mortgages:
        if mortgage.ref not in given:
            yield (
                f"plan.opening.{mortgage.ref}",
                f"the opening balance of {mortgage.ref!r} is missing",
                "Give what is owed on it when the plan starts, 0.00 when it is paid off",
            )


def _renewals(household: Household, plan: Plan) -> Found:
    refs = {one.ref for one in household.mortgages}
    for index, renewal in enumerate(plan.renewals):
        if renewal.mortgage not in refs:
            yield (
                f"plan.renewals[{index}].mortgage",
                f"there is no mortgage {renewal.mortgage!r} in this household",
                "Name one of: " + (", ".join(sorted(refs)) or "(none)"),
            )
        if renewal.on < plan.starts:
            yield (
                f"plan.renewals[{index}].on",
                f"the renewal on {renewal.on} lies before the plan's start",
                "Put it among the mortgage's terms, or date it within the plan",
            )


def _line_rates(household: Household, plan: Plan, prime: RateSteps) -> Found:
    given = dict(plan.opening)
    drawn = plan.reborrow.line if plan.reborrow else None
    for index, line in enumerate(household.lines):
        dammed = plan.dam is not None and (drawn is None and index == 0)
        if not (given.get(line.ref, 0) or drawn == line.ref or dammed):
            continue
        if rate_on(prime, plan.starts) is None:
            yield _no_prime(plan.starts, f"the line {line.ref!r}")
        yield from _below_zero(plan, prime, line.spread, f"lines[{index}].spread")


def _no_prime(day: date, user: str) -> tuple[str, str, str]:
    return (
        "plan.prime",
        f"there is no prime rate on or before {day}, and {user} needs one",
        "Add the prime rate in force on that day to plan.prime or prime",
    )


def _below_zero(plan: Plan, prime: RateSteps, spread: Decimal, where: str) -> Found:
    """Steps in force during the plan that would make a rate negative."""
    for index, (day, rate) in enumerate(prime):
        over = index + 1 < len(prime) and prime[index + 1][0] <= plan.starts
        if rate + spread < 0 and not over:
            yield (
                where,
                f"prime of {day} plus the spread is below zero",
                "Check the spread and the prime series",
            )
            return


def _mortgages(household: Household, plan: Plan, prime: RateSteps) -> Found:
    given = dict(plan.opening)
    for index, mortgage in enumerate(household.mortgages):
        path = f"mortgages[{index}]"
        if not mortgage.terms:
            yield f"{path}.terms", "a mortgage needs a term", "Give the term in force"
            continue
        balance = given.get(mortgage.ref, 0)
        if balance <= 0:
            continue
        before = payments_before(mortgage, plan.starts)
        current = _term_in_force(mortgage, before)
        yield from _stated_payments(mortgage, current, balance, path)
        term = mortgage.terms[current]
        if term.payment_cents is None and before >= contractual_payments(mortgage):
            owed = text_from_cents(balance)
            yield (
                f"{path}.amortization_months",
                f"{before} payments before the plan use up the amortization, yet {owed} is owed",
                "Correct the amortization or the first payment, or state the term's payment",
            )
        for offset, one in enumerate(mortgage.terms[current:], current):
            if one.kind == "fixed":
                continue
            spread = one.spread if one.spread is not None else Decimal(0)
            yield from _below_zero(plan, prime, spread, f"{path}.terms[{offset}].spread")
        for day in _days_priced(mortgage, term, before, plan.starts):
            if rate_on(prime, day) is None:
                yield _no_prime(day, f"{path}.terms[{current}]")
                break


def _term_in_force(mortgage: Mortgage, before: int) -> int:
    """The last term whose renewal payment lies before the plan starts."""
    found = 0
    if before:
        latest = scheduled_date(mortgage, before - 1)
        for index in range(1, len(mortgage.terms)):
            if mortgage.terms[index - 1].matures <= latest:
                found = index
    return found


def _stated_payments(mortgage: Mortgage, current: int, balance: int, path: str) -> Found:
    """A fixed term's stated payment must exceed its first interest.

    Known beforehand for the first term (the original principal) and for a later
    term in force at the plan's start; terms reached later are checked there.
    """
    known = {0: mortgage.original_principal_cents}
    if current:
        known[current] = balance
    for index, owed in known.items():
        term = mortgage.terms[index]
        if term.kind != "fixed" or term.payment_cents is None or term.rate_annual is None:
            continue
        periodic = periodic_fraction(term.rate_annual, mortgage.compounding, mortgage.frequency)
        interest = interest_cents(owed, periodic)
        if term.payment_cents <= interest:
            stated, due = text_from_cents(term.payment_cents), text_from_cents(interest)
            yield (
                f"{path}.terms[{index}].payment",
                f"the stated payment of {stated} does not exceed the first interest, {due}",
                "Check the payment, the rate and the frequency against the contract",
            )


def _days_priced(mortgage: Mortgage, term: Term, before: int, starts: date) -> Iterator[date]:
    """The days on which the term in force needs a prime rate at the plan's outset."""
    if term.kind == "fixed":
        return
    if term.kind == "static" and term.payment_cents is None:
        yield term.starts
    if term.kind == "adjustable" and term.payment_cents is not None:
        yield max(term.starts, starts)
    yield scheduled_date(mortgage, before)


def _opening_draw(household: Household, plan: Plan) -> Found:
    reborrow = plan.reborrow
    if reborrow is None or not reborrow.opening_draw_cents:
        return
    if any(extra.on == plan.starts for extra in plan.extras):
        return  # what is prepaid that day makes room first; the run itself judges
    for mortgage in household.mortgages:
        index = payments_before(mortgage, plan.starts)
        if scheduled_date(mortgage, index) == plan.starts:
            return
    given = dict(plan.opening)
    owed = sum(given.get(one.ref, 0) for one in household.mortgages)
    drawn = sum(given.get(one.ref, 0) for one in household.lines)
    excess = opening_excess_cents(household.facility, owed, drawn)
    room = room_cents(limit_cents(household.facility, owed, excess), drawn)
    if reborrow.opening_draw_cents > room:
        problem = opening_draw_problem("", reborrow.opening_draw_cents, room)
        yield problem.where, problem.message, problem.remedy
