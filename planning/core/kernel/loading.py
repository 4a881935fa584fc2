"""Households as columns of whole numbers, ready for the arrays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from operator import is_

import numpy as np

from planning.core.amortization import contractual_payments, payment_cents, payments_before
from planning.core.kernel.exact import FIXED, MONTHLY, PAYMENT, SHORT, Ints
from planning.core.kernel.family import RATE_PLACES, TAX_PLACES, change_index
from planning.core.money import round_half_up
from planning.core.plan_opening import opening_of
from planning.core.plan_types import OpeningClasses
from planning.core.rates import WIDE, as_decimal, merged_prime, periodic_fraction, root_growth
from planning.core.room import Limits, opening_excess_cents
from planning.core.types import (
    YIELD_KINDS,
    Compounding,
    Household,
    Mortgage,
    Plan,
    RateSteps,
)

NAMES: tuple[str, ...] = (
    *("months", "simple", "mode", "actual", "mixed", "returns", "rule", "route", "refund_to"),
    *("whole_share", "start", "first", "pay_day", "contractual", "payment", "rate"),
    *("mortgage", "eligible", "unsupported", "ineligible", "linked", "value", "own"),
    *("cap65", "line_cap", "registered", "excess", "privilege", "share", "opening_draw"),
    *("reserve", "line_rate", "growth", "falls", "ordinary", "refund_month"),
    *(f"yield_{kind}" for kind in YIELD_KINDS),
    *(f"tax_{kind}" for kind in YIELD_KINDS),
)
SORTED_BY = NAMES[:11]
"""Columns that decide which steps a block takes; equal ones are put side by side."""

CASH, ADVANCE, DRAW = 0, 1, 2
NO_RULE, EXCESS_FIRST, PROPORTIONAL = 0, 1, 2
REINVEST, PREPAY, KEEP = 0, 1, 2
REFUND_KEPT, REFUND_PREPAID, REFUND_INVESTED = 0, 1, 2

_RULES = {"none": NO_RULE, "excess-first": EXCESS_FIRST, "proportional": PROPORTIONAL}
_ROUTES = {"reinvest": REINVEST, "prepay": PREPAY, "cash": KEEP}
_REFUNDS = {"keep": REFUND_KEPT, "prepay": REFUND_PREPAID, "invest": REFUND_INVESTED}


@dataclass(frozen=True, slots=True)
class Loaded:
    """Plans as arrays: one row of `table` for each name, one column for each plan.

    The events are rows of (plan, month counted from the plan's start, ...) in the
    order of the months:
    `changes` of term (rate, payment or 0, factor or 0 when all is due), `steps`
    of the line's rate (day, rate), `extras` (day, amount).
    """

    table: Ints
    changes: Ints
    steps: Ints
    extras: Ints

    @property
    def size(self) -> int:
        """How many plans there are."""
        return int(self.table.shape[1])

    def column(self, name: str) -> Ints:
        """One value of every plan."""
        found: Ints = self.table[NAMES.index(name)]
        return found

    @property
    def nbytes(self) -> int:
        """Bytes of all the arrays."""
        arrays = (self.table, self.changes, self.steps, self.extras)
        return sum(one.nbytes for one in arrays)


Openings = Mapping[str, OpeningClasses] | None
"""The traced classes of a household's lines on the evening before its plan, by line."""


def load(households: Sequence[Household], openings: Sequence[Openings] | None = None) -> Loaded:
    """Households inside the family as arrays, in the order given."""
    rows: list[list[int]] = []
    last: tuple[object, ...] | None = None
    changes: list[tuple[int, ...]] = []
    steps: list[tuple[int, ...]] = []
    extras: list[tuple[int, ...]] = []
    for index, household in enumerate(households):
        plan = household.plan
        assert plan is not None
        traced = openings[index] if openings else None
        shared = (*household.mortgages, plan.renewals, plan.opening, plan.starts, plan.months)
        if last is None or not all(map(is_, shared, last)):
            # The scenarios of one household mostly share its mortgage: it is read once.
            terms = _terms(household.mortgages[0], plan)
            contract = _mortgage_facts(household, plan, terms)
            renewed = _later_changes(household.mortgages[0], plan, terms)
            last = shared
        values = {**_facts(household, plan, traced), **contract}
        rows.append([values.get(name, 0) for name in NAMES])
        changes += [(index, *one) for one in renewed]
        steps += [(index, *one) for one in _line_steps(household, plan)]
        extras += [
            (index, _month(one.on.year, one.on.month) - values["start"], one.on.day,
             one.amount_cents)
            for one in plan.extras
        ]  # fmt: skip
    table = np.ascontiguousarray(_rows(rows, len(NAMES)).T)
    return Loaded(table, _events(changes, 5), _events(steps, 4), _events(extras, 4))


def _rows(rows: Sequence[Sequence[int]], width: int) -> Ints:
    return np.array(rows, dtype=np.int64).reshape(len(rows), width)


def _events(rows: list[tuple[int, ...]], width: int) -> Ints:
    found = _rows(rows, width)
    return found[np.argsort(found[:, 1], kind="stable")]


def _month(year: int, month: int) -> int:
    return year * 12 + month - 1


@lru_cache(maxsize=65536)
def _whole(rate: Decimal | Fraction | int, scale: int) -> int:
    exact = Fraction(rate) * scale
    assert exact.denominator == 1
    return int(exact)


# -- the facility, the line, the account ------------------------------------------------


def _facts(household: Household, plan: Plan, traced: Openings) -> dict[str, int]:
    facility, line = household.facility, household.lines[0]
    account = next(one for one in household.investments if one.kind == "non-registered")
    given = dict(plan.opening)
    opening = opening_of(household, line.ref, given.get(line.ref, 0), traced)
    owed = given.get(household.mortgages[0].ref, 0)
    limits = Limits.of(facility)
    value = given.get(account.ref, 0)
    linked = dict(opening.targets).get(account.ref, 0)
    out = plan.investment.distributions != "reinvest"
    returns = bool(out and dict(plan.investment.yields_annual).get("return_of_capital"))
    mode = ADVANCE if facility.capitalised_interest == "paid-by-advance" else DRAW
    prime = [one for one in _line_rates(household, plan) if one[0] <= plan.starts]
    facts = {
        "months": plan.months,
        "start": _month(plan.starts.year, plan.starts.month),
        "mode": CASH if plan.line_interest == "from-cash" else mode,
        "actual": int(line.day_basis == "actual"),
        "mixed": int(returns or bool(opening.unsupported_cents or opening.ineligible_cents)),
        "returns": int(returns),
        "rule": _RULES[facility.excess_rule],
        "mortgage": owed,
        "eligible": opening.eligible_cents,
        "unsupported": opening.unsupported_cents,
        "ineligible": opening.ineligible_cents,
        "linked": linked,
        "value": value,
        "own": max(0, value - linked),
        "cap65": limits.cap65_cents,
        "line_cap": limits.line_cap_cents,
        "registered": limits.registered_cents,
        "excess": opening_excess_cents(facility, owed, opening.total_cents),
        "line_rate": _whole(prime[-1][1], 10**RATE_PLACES),
        "refund_to": _REFUNDS[plan.refund],
        "refund_month": plan.refund_month,
        **_reborrow_facts(plan),
        **_account_facts(plan),
    }
    if not facts["excess"]:
        facts["rule"] = NO_RULE  # the part above the cap only ever falls
    return facts


def _reborrow_facts(plan: Plan) -> dict[str, int]:
    reborrow = plan.reborrow
    if reborrow is None:
        return {}
    return {
        "whole_share": int(reborrow.share == 1),
        "share": _whole(reborrow.share, SHORT),
        "opening_draw": reborrow.opening_draw_cents,
        "reserve": reborrow.reserve_cents,
    }


def _account_facts(plan: Plan) -> dict[str, int]:
    growth = _growth(plan.investment.growth_annual)
    facts = {
        "route": _ROUTES[plan.investment.distributions],
        "growth": abs(growth),
        "falls": int(growth < 0),
    }
    for kind, rate in plan.investment.yields_annual:
        facts[f"yield_{kind}"] = _whole(rate, SHORT)
    marginal = plan.marginal
    assert marginal is not None
    facts["ordinary"] = _whole(marginal.ordinary, 10**TAX_PLACES)
    for kind, rate in marginal.by_kind:
        if kind != "return_of_capital":
            facts[f"tax_{kind}"] = _whole(rate, 10**TAX_PLACES)
    return facts


@lru_cache(maxsize=4096)
def _growth(annual: Decimal) -> int:
    """The month's growth over FIXED, cut off towards zero."""
    return _cut(root_growth(annual, Fraction(1, 12)), FIXED)


def _cut(value: Fraction, scale: int) -> int:
    whole = abs(value.numerator) * scale // value.denominator
    return whole if value >= 0 else -whole


def _line_rates(household: Household, plan: Plan) -> RateSteps:
    spread = household.lines[0].spread
    prime = merged_prime(plan.prime, household.prime)
    return tuple((day, rate + spread) for day, rate in prime)


def _line_steps(household: Household, plan: Plan) -> list[tuple[int, int, int]]:
    """(month, day, rate) of each later change; a month's last day is day 0 of the next,
    since its night is posted then.
    """
    start = _month(plan.starts.year, plan.starts.month)
    found = []
    for day, rate in _line_rates(household, plan):
        if day <= plan.starts:
            continue
        after = day + timedelta(days=1)
        month = _month(after.year, after.month)
        if month - start < plan.months:
            found.append((month - start, after.day - 1, _whole(rate, 10**RATE_PLACES)))
    return found


# -- the mortgage -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Term:
    """A term and the number of the first payment made under it."""

    index: int
    rate: Decimal
    payment: int | None


def _terms(mortgage: Mortgage, plan: Plan) -> list[_Term]:
    """The first term, then each change by due date; on one date a planned renewal comes last."""
    index = payments_before(mortgage, plan.starts)
    found = [
        (mortgage.terms[place - 1].matures, term.rate_annual, term.payment_cents)
        for place, term in enumerate(mortgage.terms)
        if place
    ]
    found += [
        (one.on, one.rate_annual, None) for one in plan.renewals if one.mortgage == mortgage.ref
    ]
    found.sort(key=lambda one: one[0])
    first = mortgage.terms[0]
    assert first.rate_annual is not None
    terms = [_Term(0, first.rate_annual, first.payment_cents)]
    for due, rate, payment in found:
        assert rate is not None
        since = max(change_index(mortgage, index, due), terms[-1].index)
        terms.append(_Term(since, rate, payment))
    return terms


def _current(terms: list[_Term], mortgage: Mortgage, plan: Plan) -> int:
    """The place of the term in force when the plan starts."""
    index = payments_before(mortgage, plan.starts)
    return max(place for place, one in enumerate(terms) if place == 0 or one.index <= index)


def _mortgage_facts(household: Household, plan: Plan, terms: list[_Term]) -> dict[str, int]:
    mortgage = household.mortgages[0]
    place = _current(terms, mortgage, plan)
    term = terms[place]
    balance = dict(plan.opening).get(mortgage.ref, 0)
    contractual = int(contractual_payments(mortgage))
    payment = term.payment
    if payment is None and balance:
        owed, left = mortgage.original_principal_cents, contractual
        if place:
            owed, left = balance, contractual - payments_before(mortgage, plan.starts)
        payment = _solved(owed, term.rate, mortgage.compounding, left)
    first = mortgage.first_payment
    return {
        "simple": int(mortgage.compounding == "monthly"),
        "first": _month(first.year, first.month),
        "pay_day": first.day,
        "contractual": contractual,
        "payment": payment or 0,
        "rate": _periodic(term.rate, mortgage.compounding),
        "privilege": round_half_up(
            Fraction(mortgage.prepayment_privilege) * mortgage.original_principal_cents
        ),
    }


@lru_cache(maxsize=65536)
def _solved(balance: int, rate: Decimal, compounding: Compounding, left: int) -> int:
    return payment_cents(balance, rate, compounding, "monthly", "annuity", Fraction(left))


def _later_changes(
    mortgage: Mortgage, plan: Plan, terms: list[_Term]
) -> list[tuple[int, int, int, int]]:
    """(month, rate, stated payment or 0, factor or 0) of each change after the plan's start."""
    first, starts = mortgage.first_payment, plan.starts
    shift = _month(first.year, first.month) - _month(starts.year, starts.month)
    contractual = int(contractual_payments(mortgage))
    last: dict[int, tuple[int, int, int, int]] = {}
    for one in terms[_current(terms, mortgage, plan) + 1 :]:
        month, left = one.index + shift, contractual - one.index
        if month >= plan.months:
            break
        factor = _factor(one.rate, mortgage.compounding, left) if left > 0 else 0
        rate = _periodic(one.rate, mortgage.compounding)
        last[month] = (month, rate, one.payment or 0, factor)
    return list(last.values())


@lru_cache(maxsize=4096)
def _periodic(rate: Decimal, compounding: Compounding) -> int:
    """The month's rate: over MONTHLY when interest compounds monthly, else over FIXED."""
    periodic = periodic_fraction(rate, compounding, "monthly")
    if compounding == "monthly":
        return _whole(periodic, MONTHLY)
    return _cut(periodic, FIXED)


@lru_cache(maxsize=65536)
def _factor(rate: Decimal, compounding: Compounding, left: int) -> int:
    """The level payment for one cent owed, over PAYMENT: i / (1 - (1+i)^-n), cut off."""
    i = as_decimal(periodic_fraction(rate, compounding, "monthly"))
    discounted = WIDE.power(WIDE.add(Decimal(1), i), Decimal(-left))
    return _cut(Fraction(WIDE.divide(i, WIDE.subtract(Decimal(1), discounted))), PAYMENT)
