"""What if: one set of changes to a household's plan, as a new plan.

A `Change` says what is asked; `changed` gives the household with the new plan.
What has passed stays as it was planned: changes of rates take hold from
`since`, extra prepayments on or after it. Growth, yields, share and refund are
assumptions of the whole plan and hold from its start. Contracts are never
touched: a change of a mortgage's rate is a planned renewal into a fixed rate
(MODEL section 1, reading F3: the first payment on or after the day is the last
at the old rate), with the payment solved anew.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from datetime import date
from decimal import ROUND_DOWN, Decimal
from typing import Literal

from config.problems import BadInput
from planning.core.months import day_in_month, last_day, month_of, shift_month
from planning.core.plan_problems import plan_problems
from planning.core.rates import merged_prime, rate_on
from planning.core.types import (
    Extra,
    Household,
    Mortgage,
    Plan,
    PlanInvestment,
    RateSteps,
    Renewal,
    YieldKind,
)
from planning.core.whatif_refusals import Refusal, Refused

_SIX_PLACES = Decimal("0.000001")
_NOTHING_BEFORE = Decimal(0)
RATES = (Decimal(0), Decimal(1))
PRIME = (Decimal("-0.05"), Decimal(1))
GROWTH = (Decimal("-0.99"), Decimal(1))


@dataclass(frozen=True, slots=True)
class Change:
    """What is tried; None and empty leave the plan as it is.

    `since`: the day changed rates take hold (the plan's start when None).
    `mortgage`: whose rates change (the first one when empty). `rate_now` holds
    from `since`, `rate_at_renewal` from the next renewal. `prime_shift` is added
    to prime from `since`, so it moves the line and variable mortgages.
    `total_yield` keeps the proportions of the yields. Extra prepayments come on
    top of the plan's: one on `once_on`, one a year from `yearly_from` to the
    plan's end (both `since` when None).
    """

    since: date | None = None
    mortgage: str = ""
    rate_now: Decimal | None = None
    rate_at_renewal: Decimal | None = None
    prime_shift: Decimal | None = None
    growth: Decimal | None = None
    total_yield: Decimal | None = None
    share: Decimal | None = None
    once_cents: int | None = None
    once_on: date | None = None
    yearly_cents: int | None = None
    yearly_from: date | None = None
    refund: Literal["prepay", "invest", "keep"] | None = None

    @property
    def empty(self) -> bool:
        """Whether nothing is asked: days and the mortgage alone change nothing."""
        silent = {"since", "mortgage", "once_on", "yearly_from"}
        return all(
            getattr(self, one.name) is None for one in fields(self) if one.name not in silent
        )


def changed(household: Household, change: Change, file: str = "") -> Household:
    """The household with its plan changed; equal to the one given when nothing is asked.

    Raises Refused with every refusal, or BadInput with what the changed plan's
    own checks find.
    """
    file = file or household.ref
    refused = refusals(household, change)
    if refused:
        raise Refused(refused, file)
    plan = household.plan
    assert plan is not None
    if change.empty:
        return household
    since = change.since or plan.starts
    after = replace(
        plan,
        renewals=_renewals(household, plan, change, since),
        prime=_prime(household, plan, change, since),
        investment=_investment(plan.investment, change),
        reborrow=plan.reborrow
        if plan.reborrow is None or change.share is None
        else replace(plan.reborrow, share=change.share),
        extras=(*plan.extras, *_extras(plan, change, since)),
        refund=change.refund or plan.refund,
    )
    found = replace(household, plan=after)
    problems = plan_problems(found, file)
    if problems:
        raise BadInput(problems)
    return found


def refusals(household: Household, change: Change) -> tuple[Refusal, ...]:
    """Every value of a change that makes no sense for this household, all at once."""
    plan = household.plan
    if plan is None:
        return (Refusal("plan", "no-plan"),)
    return tuple(_refusals(household, plan, change))


def plan_ends(plan: Plan) -> date:
    """The plan's last day."""
    return last_day(shift_month(month_of(plan.starts), plan.months - 1))


def mortgage_of(household: Household, ref: str) -> Mortgage | None:
    """The mortgage of a reference, the first one for an empty reference; None for no such."""
    found = (one for one in household.mortgages if ref in ("", one.ref))
    return next(found, None)


def next_renewal(household: Household, mortgage: Mortgage, since: date) -> date | None:
    """The first day on or after `since` on which the mortgage is to be renewed.

    A renewal of the plan, or the end of the last term on file. None when there
    is none within the plan.
    """
    plan = household.plan
    assert plan is not None
    days = [one.on for one in plan.renewals if one.mortgage == mortgage.ref]
    if mortgage.terms:
        days.append(mortgage.terms[-1].matures)
    return min((day for day in days if since <= day <= plan_ends(plan)), default=None)


def renewed(plan: Plan, mortgage: str, on: date, rate: Decimal) -> Plan:
    """The plan with a renewal into a fixed rate, in place of one on the same day."""
    kept = tuple(one for one in plan.renewals if (one.mortgage, one.on) != (mortgage, on))
    added = sorted((*kept, Renewal(mortgage, on, rate)), key=lambda one: one.on)
    return replace(plan, renewals=tuple(added))


# --- refusals --------------------------------------------------------------------


def _refusals(household: Household, plan: Plan, change: Change) -> Iterator[Refusal]:
    since = change.since or plan.starts
    dates = (
        ("since", change.since),
        ("once_on", change.once_on),
        ("yearly_from", change.yearly_from),
    )
    for where, day in dates:
        if day is not None and not plan.starts <= day <= plan_ends(plan):
            ends = plan_ends(plan).isoformat()
            yield Refusal(
                where,
                "outside-plan",
                (("day", day.isoformat()), ("starts", plan.starts.isoformat()), ("ends", ends)),
            )
    yield from _rate_refusals(household, change, since)
    yield from _prime_refusals(household, plan, change, since)
    yield from _outside("growth", change.growth, GROWTH)
    yield from _outside("total_yield", change.total_yield, RATES)
    yield from _outside("share", change.share, RATES)
    if plan.reborrow is None and change.share is not None:
        yield Refusal("share", "no-reborrow")
    if plan.reborrow is None and change.refund == "invest":
        yield Refusal("refund", "no-account")
    if change.refund not in (None, "prepay", "invest", "keep"):
        yield Refusal("refund", "refund-unknown", (("value", str(change.refund)),))
    for where, amount in (("once", change.once_cents), ("yearly", change.yearly_cents)):
        if amount is not None and amount <= 0:
            yield Refusal(where, "not-positive")


def _rate_refusals(household: Household, change: Change, since: date) -> Iterator[Refusal]:
    yield from _outside("rate_now", change.rate_now, RATES)
    yield from _outside("rate_at_renewal", change.rate_at_renewal, RATES)
    if change.rate_now is None and change.rate_at_renewal is None:
        return
    mortgage = mortgage_of(household, change.mortgage)
    if mortgage is None:
        yield Refusal("mortgage", "no-mortgage", (("mortgage", change.mortgage),))
    elif change.rate_at_renewal is not None and not _renewal_day(
        household, mortgage, change, since
    ):
        yield Refusal("rate_at_renewal", "no-renewal", (("mortgage", mortgage.ref),))


def _prime_refusals(
    household: Household, plan: Plan, change: Change, since: date
) -> Iterator[Refusal]:
    if not change.prime_shift:
        return
    steps = merged_prime(plan.prime, household.prime)
    if rate_on(steps, since) is None:
        yield Refusal("prime_shift", "no-prime", (("day", since.isoformat()),))
        return
    moved = [rate for _, rate in _shifted_since(steps, change.prime_shift, since)]
    outside = [one for one in moved if not PRIME[0] <= one <= PRIME[1]]
    if outside:
        values = (
            ("rate", _percent(outside[0])),
            ("low", _percent(PRIME[0])),
            ("high", _percent(PRIME[1])),
        )
        yield Refusal("prime_shift", "prime-outside", values)


def _outside(
    where: str, value: Decimal | None, bounds: tuple[Decimal, Decimal]
) -> Iterator[Refusal]:
    if value is not None and not bounds[0] <= value <= bounds[1]:
        low, high = (_percent(one) for one in bounds)
        yield Refusal(where, "outside", (("value", _percent(value)), ("low", low), ("high", high)))


def _percent(rate: Decimal) -> str:
    return f"{rate * 100:.2f}%"


# --- the parts of the new plan ---------------------------------------------------


def _renewal_day(
    household: Household, mortgage: Mortgage, change: Change, since: date
) -> date | None:
    """The renewal that `rate_at_renewal` names; a rate from `since` is not itself one."""
    day = next_renewal(household, mortgage, since)
    if day == since and change.rate_now is not None:
        day = next_renewal(household, mortgage, date.fromordinal(since.toordinal() + 1))
    return day


def _renewals(household: Household, plan: Plan, change: Change, since: date) -> tuple[Renewal, ...]:
    mortgage = mortgage_of(household, change.mortgage)
    after = plan
    if mortgage is not None and change.rate_now is not None:
        after = renewed(after, mortgage.ref, since, change.rate_now)
    if mortgage is not None and change.rate_at_renewal is not None:
        day = _renewal_day(household, mortgage, change, since)
        assert day is not None
        after = renewed(after, mortgage.ref, day, change.rate_at_renewal)
    return after.renewals


def _prime(household: Household, plan: Plan, change: Change, since: date) -> RateSteps:
    if not change.prime_shift:
        return plan.prime
    steps = merged_prime(plan.prime, household.prime)
    held = tuple(step for step in steps if step[0] < since)
    return (*held, *_shifted_since(steps, change.prime_shift, since))


def _shifted_since(steps: RateSteps, by: Decimal, since: date) -> RateSteps:
    """The steps in force from a day on, each `by` higher, the first on that day."""
    now = rate_on(steps, since)
    assert now is not None
    later = tuple((day, rate + by) for day, rate in steps if day > since)
    return ((since, now + by), *later)


def _investment(before: PlanInvestment, change: Change) -> PlanInvestment:
    growth = before.growth_annual if change.growth is None else change.growth
    yields = before.yields_annual
    if change.total_yield is not None:
        yields = scaled_yields(yields, change.total_yield)
    return replace(before, growth_annual=growth, yields_annual=yields)


def scaled_yields(
    yields: tuple[tuple[YieldKind, Decimal], ...], total: Decimal
) -> tuple[tuple[YieldKind, Decimal], ...]:
    """The yields in their proportions, adding up to `total` exactly.

    Each is cut to a ten-thousandth of a percent and the largest takes what is
    left over. Without any yield before, all of it is eligible dividends.
    """
    before = sum((rate for _, rate in yields), _NOTHING_BEFORE)
    if before == total:
        return yields
    if not before:
        known = dict(yields) | {"eligible_dividend": total}
        return tuple((kind, known[kind]) for kind in known)
    cut = [
        (kind, (rate * total / before).quantize(_SIX_PLACES, rounding=ROUND_DOWN))
        for kind, rate in yields
    ]
    rates = [rate for _, rate in yields]
    largest = rates.index(max(rates))
    left = total - sum((rate for _, rate in cut), _NOTHING_BEFORE)
    cut[largest] = (cut[largest][0], cut[largest][1] + left)
    return tuple(cut)


def _extras(plan: Plan, change: Change, since: date) -> Iterator[Extra]:
    if change.once_cents is not None:
        yield Extra(change.once_on or since, change.once_cents)
    if change.yearly_cents is None:
        return
    first = change.yearly_from or since
    for year in range(first.year, plan_ends(plan).year + 1):
        day = day_in_month(year, first.month, first.day)
        if day <= plan_ends(plan):
            yield Extra(day, change.yearly_cents)
