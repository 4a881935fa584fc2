"""Renewal offers of one mortgage side by side, each run as a plan of its own.

An offer replaces what the plan says of the mortgage from the renewal day to the
end of the term offered; what the plan says of later days stands. Reading F3: the
first payment on or after the renewal day is the last at the old rate. A charge
or cash-back of a lender is no part of the model.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from config.problems import BadInput
from planning.core.months import day_in_month, month_of, shift_month
from planning.core.plan_outcome import Outcome, outcome
from planning.core.plan_problems import plan_problems
from planning.core.plan_types import OpeningClasses, PlanPayment, PlanResult
from planning.core.types import Household, Mortgage, Plan, Term, TermKind
from planning.core.whatif import RATES, mortgage_of, plan_ends, renewed
from planning.core.whatif_refusals import Refusal, Refused

MOST_OFFERS = 4
YEARS = (1, 10)
SPREAD = (Decimal("-0.10"), Decimal("0.50"))


@dataclass(frozen=True, slots=True)
class Offer:
    """What a lender offers. `rate` for fixed, `spread` to prime for adjustable and static.

    `payment_cents` is the payment the lender states; None solves it over the
    remaining amortization.
    """

    name: str
    kind: TermKind
    years: int
    rate: Decimal | None = None
    spread: Decimal | None = None
    payment_cents: int | None = None

    @property
    def plannable(self) -> bool:
        """Whether a planned renewal can say all of it (fixed rate, payment solved anew)."""
        return self.kind == "fixed" and self.payment_cents is None


@dataclass(frozen=True, slots=True)
class Window:
    """Sums over some months after a renewal, in cents; balances at their end.

    `months` is what the plan still covers of the months asked for. Interest,
    principal (prepayments apart) and what is left are the renewed mortgage's
    alone; room, line, eligible and deductible are the household's.
    """

    months: int
    interest: int
    principal: int
    room_freed: int
    deductible: int
    mortgage_left: int
    line: int
    eligible: int


@dataclass(frozen=True, slots=True)
class OfferResult:
    """One offer played out: `shared` over the shortest term compared, `own` over its term.

    `payment` and `rate` are those of the first payment under it, `first_year`
    the principal of its first twelve months. For the plan in force `own` is the
    same as `shared`.
    """

    name: str
    payment: int
    rate: Decimal | None
    first_year: int
    shared: Window
    own: Window
    outcome: Outcome


@dataclass(frozen=True, slots=True)
class OfferComparison:
    """The plan in force going on, and every offer beside it, over `shared_years` years."""

    mortgage: str
    on: date
    shared_years: int
    baseline: OfferResult
    offers: tuple[OfferResult, ...]


def offer_refusals(
    household: Household, mortgage: str, on: date, offers: Sequence[Offer]
) -> tuple[Refusal, ...]:
    """Everything that keeps the offers from being compared."""
    return tuple(_refusals(household, mortgage, on, offers))


def with_offer(household: Household, mortgage: str, on: date, offer: Offer) -> Household:
    """The household as if it renewed into the offer on the day.

    A fixed rate with the payment solved anew becomes a renewal of the plan. A
    variable rate or a stated payment, which a plan cannot say, becomes a term
    of the mortgage: for comparing, not for keeping.
    """
    plan = household.plan
    assert plan is not None
    one = mortgage_of(household, mortgage)
    assert one is not None
    ends = day_in_month(on.year + offer.years, on.month, on.day)
    cleared = replace(
        plan,
        renewals=tuple(
            each for each in plan.renewals if each.mortgage != one.ref or not on <= each.on < ends
        ),
    )
    if offer.plannable:
        assert offer.rate is not None
        return replace(household, plan=renewed(cleared, one.ref, on, offer.rate))
    before = [each for each in one.terms if each.starts < on]
    before[-1] = replace(before[-1], matures=on)
    term = Term(on, ends, offer.kind, offer.rate, offer.spread, offer.payment_cents)
    terms = replace(one, terms=(*before, term))
    listed = tuple(terms if each.ref == one.ref else each for each in household.mortgages)
    return replace(household, mortgages=listed, plan=cleared)


def compare_offers(
    household: Household,
    mortgage: str,
    on: date,
    offers: Sequence[Offer],
    opening_classes: Mapping[str, OpeningClasses] | None = None,
    *,
    baseline: Outcome | None = None,
) -> OfferComparison:
    """Play the plan in force and every offer. `baseline` may give the former's outcome.

    Raises Refused with every refusal of the offers, BadInput with a plan's faults.
    """
    refused = offer_refusals(household, mortgage, on, offers)
    if refused:
        raise Refused(refused, household.ref)
    one = mortgage_of(household, mortgage)
    assert one is not None
    years = min(each.years for each in offers)
    results = []
    for index, each in enumerate(offers):
        played = _played(household, one.ref, on, each, opening_classes, index)
        results.append(_result(each.name, played, one.ref, on, years, each.years))
    before = baseline or outcome(household, opening_classes)
    return OfferComparison(
        one.ref, on, years, _result("", before, one.ref, on, years, years), tuple(results)
    )


def planned(household: Household, mortgage: str, on: date, offer: Offer) -> Plan:
    """The plan with the offer as its renewal. Raises Refused for one a plan cannot say."""
    refused = offer_refusals(household, mortgage, on, (offer,))
    if not refused and not offer.plannable:
        refused = (Refusal("offers[0]", "not-a-renewal"),)
    if refused:
        raise Refused(refused, household.ref)
    plan = with_offer(household, mortgage, on, offer).plan
    assert plan is not None
    return plan


def _played(
    household: Household,
    mortgage: str,
    on: date,
    offer: Offer,
    opening_classes: Mapping[str, OpeningClasses] | None,
    index: int,
) -> Outcome:
    try:
        return outcome(with_offer(household, mortgage, on, offer), opening_classes)
    except BadInput as error:
        if offer.payment_cents is None:
            raise
        # Nothing else of the offer can stop a plan that ran before.
        refusal = Refusal(f"offers[{index}].payment", "payment-low")
        raise Refused((refusal,), household.ref) from error


def _refusals(
    household: Household, mortgage: str, on: date, offers: Sequence[Offer]
) -> Iterator[Refusal]:
    plan = household.plan
    if plan is None:
        yield Refusal("plan", "no-plan")
        return
    found = mortgage_of(household, mortgage)
    if found is None:
        yield Refusal("mortgage", "no-mortgage", (("mortgage", mortgage),))
        return
    starts, ends = plan.starts.isoformat(), plan_ends(plan).isoformat()
    if not plan.starts <= on <= plan_ends(plan) or not _after_first_term(found, on):
        yield Refusal(
            "on", "outside-plan", (("day", on.isoformat()), ("starts", starts), ("ends", ends))
        )
        return
    if not offers:
        yield Refusal("offers", "no-offer")
    if len(offers) > MOST_OFFERS:
        yield Refusal(
            "offers", "too-many", (("count", str(len(offers))), ("most", str(MOST_OFFERS)))
        )
    for index, offer in enumerate(offers):
        refused = tuple(_offer_refusals(offer, f"offers[{index}]"))
        yield from refused
        if not refused:
            tried = with_offer(household, found.ref, on, offer)
            if any(one.where.endswith("spread") for one in plan_problems(tried, household.ref)):
                yield Refusal(
                    f"offers[{index}].rate",
                    "outside",
                    (
                        ("value", f"{(offer.spread or 0) * 100:.2f}%"),
                        ("low", "0.00%"),
                        ("high", "100.00%"),
                    ),
                )


def _after_first_term(mortgage: Mortgage, on: date) -> bool:
    return bool(mortgage.terms) and mortgage.terms[0].starts < on


def _offer_refusals(offer: Offer, where: str) -> Iterator[Refusal]:
    low, high = RATES if offer.kind == "fixed" else SPREAD
    value = offer.rate if offer.kind == "fixed" else offer.spread
    if value is None or not low <= value <= high:
        yield Refusal(
            f"{where}.rate",
            "outside",
            (
                ("value", "–" if value is None else f"{value * 100:.2f}%"),
                ("low", f"{low * 100:.2f}%"),
                ("high", f"{high * 100:.2f}%"),
            ),
        )
    if not YEARS[0] <= offer.years <= YEARS[1]:
        yield Refusal(f"{where}.years", "term-outside", (("years", str(offer.years)),))
    if offer.payment_cents is not None and offer.payment_cents <= 0:
        yield Refusal(f"{where}.payment", "not-positive")


def _result(
    name: str, played: Outcome, mortgage: str, on: date, shared: int, own: int
) -> OfferResult:
    paid = _under_new_rate(played.result, mortgage, on)
    first = paid[0] if paid else None
    return OfferResult(
        name=name,
        payment=first.payment if first else 0,
        rate=first.rate if first else None,
        first_year=_window(played.result, paid, 12).principal,
        shared=_window(played.result, paid, shared * 12),
        own=_window(played.result, paid, own * 12),
        outcome=played,
    )


def _under_new_rate(result: PlanResult, mortgage: str, on: date) -> list[PlanPayment]:
    """The mortgage's payments and prepayments after the last payment at the old rate."""
    mine = [one for one in result.payments if one.mortgage == mortgage]
    last = next((one.date for one in mine if one.payment and one.date >= on), None)
    found = [] if last is None else [one for one in mine if one.date > last]
    while found and not found[0].payment:
        found = found[1:]
    return found


def _window(result: PlanResult, paid: Sequence[PlanPayment], months: int) -> Window:
    """Sums over the months that begin with that of the first payment at the new rate."""
    if not paid:
        return Window(0, 0, 0, 0, 0, 0, 0, 0)
    first = month_of(paid[0].date)
    last = shift_month(first, months - 1)
    rows = [row for row in result.rows if first <= row.month <= last]
    mine = [one for one in paid if month_of(one.date) <= last]
    end = rows[-1]
    return Window(
        months=len(rows),
        interest=sum(one.interest for one in mine),
        principal=sum(one.principal for one in mine),
        room_freed=sum(row.room_freed for row in rows),
        deductible=sum(row.deductible for row in rows),
        mortgage_left=mine[-1].balance,
        line=end.line_closing,
        eligible=end.eligible,
    )
