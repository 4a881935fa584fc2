"""A renewal ahead in figures: three rates played on, and what a cut of the room would cost.

Each rate is a renewal of the plan at the term's end (`planning.core.renewal_offers`),
played by the plan's own engine. Projections, not promises.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from planning.core.months import month_of, shift_month
from planning.core.plan import run_plan
from planning.core.plan_types import OpeningClasses, PlanResult
from planning.core.rates import rate_on
from planning.core.renewal_offers import Offer, offer_refusals, with_offer
from planning.core.types import Household, Term
from planning.core.whatif import mortgage_of

RENEWALS = ("renewal-due", "renewal-passed")
STEPS = (Decimal(0), Decimal("0.01"), Decimal("0.02"))
TERM_YEARS = 5


@dataclass(frozen=True, slots=True)
class RenewalWay:
    """The mortgage renewed at one rate. Amounts in cents.

    `payment` is the first payment under it; `interest` and `room` are those of the
    twelve months that begin with it, the room the household's. `conversion` is the
    first month at whose end no mortgage is owed, empty past the plan's end.
    """

    rate: Decimal
    payment: int
    interest: int
    room: int
    conversion: str


@dataclass(frozen=True, slots=True)
class RenewalPlan:
    """The ways at the present rate, a point and two points above it.

    `act_by` is the latest date to act. `room_year` and `room_all` are what could no
    longer be re-borrowed, in a year and to the plan's end, if the new contract did
    not re-advance; at the present rate, in cents.
    """

    mortgage: str
    on: date
    act_by: date
    ways: tuple[RenewalWay, ...]
    room_year: int
    room_all: int


def renewal_plan(
    household: Household,
    key: str,
    act_days: int,
    opening: Mapping[str, OpeningClasses] | None = None,
) -> RenewalPlan | None:
    """The renewal of a finding's key (mortgage:date), `act_days` before it the latest to act.

    None without a plan that reaches the day, or when the present rate is not on file.
    """
    ref, _, day = key.rpartition(":")
    mortgage = mortgage_of(household, ref)
    if mortgage is None or not mortgage.terms:
        return None
    on = date.fromisoformat(day)
    present = _present(mortgage.terms[-1], household)
    if present is None:
        return None
    offers = [Offer("", "fixed", TERM_YEARS, rate=present + more) for more in STEPS]
    if offer_refusals(household, ref, on, offers):
        return None
    played = [run_plan(with_offer(household, ref, on, one), opening) for one in offers]
    ways = [
        _way(result, ref, on, present + more) for result, more in zip(played, STEPS, strict=True)
    ]
    found = tuple(one for one in ways if one is not None)
    if len(found) < len(STEPS):
        return None
    later = [row for row in played[0].rows if row.month > month_of(on)]
    return RenewalPlan(
        mortgage=ref,
        on=on,
        act_by=on - timedelta(days=act_days),
        ways=found,
        room_year=found[0].room,
        room_all=sum(row.room_freed for row in later),
    )


def _present(term: Term, household: Household) -> Decimal | None:
    """The rate of the term that ends, at the latest prime on file."""
    if term.kind == "fixed":
        return term.rate_annual
    prime = rate_on(household.prime, household.prime[-1][0]) if household.prime else None
    return None if prime is None or term.spread is None else prime + term.spread


def _way(result: PlanResult, mortgage: str, on: date, rate: Decimal) -> RenewalWay | None:
    mine = [one for one in result.payments if one.mortgage == mortgage and one.payment]
    crossing = next((one.date for one in mine if one.date >= on), None)
    after = [one for one in mine if crossing is not None and one.date > crossing]
    if not after:
        return None
    first = month_of(after[0].date)
    last = shift_month(first, 11)
    return RenewalWay(
        rate=rate,
        payment=after[0].payment,
        interest=sum(one.interest for one in after if month_of(one.date) <= last),
        room=sum(row.room_freed for row in result.rows if first <= row.month <= last),
        conversion=next((row.month for row in result.rows if not row.mortgage_closing), ""),
    )
