"""`trace`: a quarter of a century of daily entries, a book of monthly ones, one month more."""

from __future__ import annotations

import copy
from argparse import Namespace
from datetime import date, timedelta

from ledger.core.tracing import Tracer, trace
from planning.core.household_file import household_from_json
from planning.core.money import text_from_cents
from planning.core.months import first_day, last_day, months_between, shift_month
from planning.core.types import Household
from tests.benchmarks.measure import Limit, Rival, in_turns, report
from tests.planning.core.plan_cases import data

FIRST = "2000-01"
DAILY_MONTHS, BOOK_MONTHS = 300, 60
PLAYED = 50
MOST_FLOORS, MOST_OF_FULL = 1500.0, 0.25
FULL, NEXT, FLOOR = "ours, 25 years of days", "ours, one month more", "entries summed, 25 years"


def life(seed: int, months: int, *, daily: bool) -> Household:
    """A line with an entry a day or a draw a month, interest posted and paid at the month's end."""
    statements, uses, balance = [], [], 0
    for month in months_between(FIRST, shift_month(FIRST, months - 1)):
        starts, ends, opening, entries = first_day(month), last_day(month), balance, []
        days = range((ends - starts).days) if daily else (seed % 20,)
        for at in days:
            day = starts + timedelta(days=at)
            cents = 10_000 + (at * 7919 + seed * 104_729 + day.month * 613) % 90_000
            back = daily and at % 5 == 4 and balance > cents
            kind = "repayment" if back else "draw"
            entries.append((f"{kind}-{day}", day, kind, cents))
            balance += -cents if back else cents
            if not back:
                personal = at % 11 == 3
                split = {"amount": text_from_cents(cents), "evidence": ["paper"],
                         "use": "personal" if personal else "income-investment",
                         "to": None if personal else "inv"}  # fmt: skip
                uses.append({"draw": f"draw-{day}", "splits": [split]})
        posted = balance // 200
        entries += [(f"{kind}-{ends}", ends, kind, posted) for kind in ("interest", "repayment")]
        statements.append(
            {"account": "line", "starts": starts.isoformat(), "ends": ends.isoformat(),
             "opening": text_from_cents(opening), "closing": text_from_cents(balance),
             "entries": [{"id": ref, "date": day.isoformat(), "kind": kind,
                          "amount": text_from_cents(cents)} for ref, day, kind, cents in entries]}
        )  # fmt: skip
    file = data() | {"statements": statements, "uses": uses, "prime": [["1999-01-01", "0.0500"]]}
    return household_from_json(file | {"plan": None}, f"life {seed}")


def summed(household: Household) -> int:
    """The floor: every entry read once, and its cents added up."""
    total = 0
    for one in household.statements:
        for entry in one.entries:
            total += -entry.amount_cents if entry.kind == "repayment" else entry.amount_cents
    return total


def month_more(primed: Tracer, day: date) -> object:
    """The trace at `day` from a copy of the kept state, so that every round begins alike."""
    tracer = copy.copy(primed)
    tracer._kept = list(primed._kept)
    return tracer.at(day)


def trace_bench(asked: Namespace) -> int:
    """Time full replays, and the step from one month's end to the next; both must be equal."""
    long = life(1, DAILY_MONTHS, daily=True)
    last = shift_month(FIRST, DAILY_MONTHS - 1)
    end, before = last_day(last), last_day(shift_month(last, -1))
    primed = Tracer(long)
    primed.at(before)
    whole = trace(long, end)
    assert month_more(primed, end) == whole
    assert whole.lines["line"].balance == summed(long)
    some = [life(seed, BOOK_MONTHS, daily=False) for seed in range(min(PLAYED, asked.n))]
    through = last_day(shift_month(FIRST, BOOK_MONTHS - 1))
    assert all(trace(one, through).lines["line"].balance == summed(one) for one in some)
    part = len(some) / asked.n
    many = f"{asked.n} households"
    rivals = [
        Rival(FULL, lambda: trace(long, end)),
        Rival(NEXT, lambda: month_more(primed, end)),
        Rival(f"ours, {many}", lambda: [trace(one, through) for one in some], part),
        Rival(FLOOR, lambda: summed(long)),
        Rival(f"entries summed, {many}", lambda: [summed(one) for one in some], part),
    ]
    in_turns(rivals, asked.runs)
    limits = [
        Limit(FLOOR, at_most=MOST_FLOORS * asked.slack),
        Limit(FULL, at_most=MOST_OF_FULL * asked.slack, ours=NEXT),
    ]
    entries = sum(len(one.entries) for one in long.statements)
    return report("trace", asked.n, rivals, limits, {"entries": entries, "played": len(some)})
