"""The cases a plan is compared with: same household, same cash, no re-borrowing.

Every month each case is given the same cash: the larger of what the plan and
the ordinary mortgage take. What a case does not use is invested in the same
portfolio out of own money, so that no case wins by leaving cash idle.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from planning.core.flat_tax import flat_saving_cents, tax_for
from planning.core.money import round_ratio
from planning.core.months import month_of, shift_month
from planning.core.plan import run_plan
from planning.core.plan_investment import Assumptions, MarketPath
from planning.core.plan_types import OpeningClasses, PlanResult, PlanRow, TaxOfYear
from planning.core.rates import shifted
from planning.core.types import YIELD_KINDS, Household, MarginalRates, Plan

_PROBE_CENTS = 100_000
_FOUR_PLACES = Decimal("0.0001")


@dataclass(frozen=True, slots=True)
class Case:
    """One case at the horizon, in cents."""

    result: PlanResult
    portfolio: int
    portfolio_cost: int
    savings: int
    savings_cost: int
    cash: int
    mortgage: int
    line: int
    paid_off: str | None

    def net_worth(self, gain_rate: Fraction, shock: Fraction = Fraction(0)) -> tuple[int, int]:
        """Net worth before and after tax on the gain if everything is sold.

        The home is left out, since it is the same in every case. `shock` is a
        change of price on the last day (-0.30 is a fall of 30%). A loss saves
        no tax.
        """
        portfolio = shocked_value(self.portfolio, shock)
        savings = shocked_value(self.savings, shock)
        before = portfolio + savings + self.cash - self.mortgage - self.line
        gain = portfolio + savings - self.portfolio_cost - self.savings_cost
        return before, before - _times(max(0, gain), gain_rate)


@dataclass(frozen=True, slots=True)
class Cases:
    """The plan and its two companions under one set of assumptions."""

    plan: Case
    ordinary: Case
    prepayments: Case
    cash_total: int


def shocked_value(amount: int, shock: Fraction) -> int:
    """A value after a change of price, in cents: -0.30 takes 30% away."""
    return amount + _times(amount, shock)


def _times(amount: int, rate: Fraction) -> int:
    return round_ratio(amount * rate.numerator, rate.denominator)


def effective_rates(household: Household, file: str) -> MarginalRates:
    """Flat rates that stand for the household's tax: those of the file, else what its own
    returns say about one more thousand dollars in the plan's first year.
    """
    plan = household.plan
    assert plan is not None
    if plan.marginal is not None:
        return plan.marginal
    year = plan.starts.year

    def rate(deduction: int, income: Mapping[str, int]) -> Decimal:
        saving = tax_for(household, file)(year, deduction, income)
        return (Decimal(abs(saving)) / _PROBE_CENTS).quantize(_FOUR_PLACES)

    taxed = tuple(kind for kind in YIELD_KINDS if kind != "return_of_capital")
    return MarginalRates(
        ordinary=rate(_PROBE_CENTS, {}),
        by_kind=tuple((kind, rate(0, {kind: _PROBE_CENTS})) for kind in taxed),
    )


def gain_rate(rates: MarginalRates) -> Fraction:
    """The tax on a realised gain, as a part of the gain."""
    return Fraction(dict(rates.by_kind).get("capital_gain", Decimal(0)))


def out_of_pocket(row: PlanRow, plan: Plan) -> int:
    """Cash the household puts in during a month, net of what it takes out, in cents.

    Payments, prepayments, contributions and line interest paid, less draws,
    the refund, and distributions that leave the account. Rents and business
    expenses are left out: they are the same in every case.
    """
    taken = row.draw + row.interest_draw + row.dam_draw + row.refund
    if plan.investment.distributions != "reinvest":
        taken += row.distribution
    return row.payment + row.prepayment + row.contribution + row.line_interest_paid - taken


def without_reborrowing(household: Household) -> Household:
    """The same household with the mortgage alone: no draws, line interest from cash."""
    plan = household.plan
    assert plan is not None
    investment = plan.investment
    if investment.distributions == "prepay":
        investment = replace(investment, distributions="cash")
    return replace(
        household,
        plan=replace(
            plan,
            reborrow=None,
            dam=None,
            refund="keep",
            line_interest="from-cash",
            investment=investment,
        ),
    )


def with_rate_shock(household: Household, by: Decimal) -> Household:
    """The same household with prime and the planned renewals `by` higher from the start.

    Fixed terms on file are contracts and keep their rate.
    """
    plan = household.plan
    assert plan is not None
    renewals = tuple(replace(one, rate_annual=one.rate_annual + by) for one in plan.renewals)
    return replace(
        household,
        prime=shifted(household.prime, by),
        plan=replace(plan, prime=shifted(plan.prime, by), renewals=renewals),
    )


def with_growth(household: Household, growth: Decimal) -> Household:
    """The same household with another price growth a year."""
    plan = household.plan
    assert plan is not None
    return replace(
        household, plan=replace(plan, investment=replace(plan.investment, growth_annual=growth))
    )


def _savings(
    flows: Sequence[int], plan: Plan, rates: MarginalRates, market: MarketPath | None
) -> tuple[int, int]:
    """Value and cost of own money invested month by month, its income taxed each year.

    Distributions are reinvested and the year's tax on them is paid out of the
    savings at the year's end.
    """
    assumptions = Assumptions(plan.investment, market)
    first = month_of(plan.starts)
    value = cost = 0
    income: dict[str, int] = {}
    month = plan.starts.month
    for index, flow in enumerate(flows):
        opening = value
        returned = assumptions.month(shift_month(first, index))
        value += flow + _times(opening, returned.growth)
        cost += flow
        for kind, rate in returned.yields:
            paid = _times(opening, rate)
            value += paid
            cost += paid if kind != "return_of_capital" else 0
            income[kind] = income.get(kind, 0) + paid
        if (month + index) % 12 == 1 or index == len(flows) - 1:
            owed = -flat_saving_cents(rates, 0, income)
            value -= owed
            cost -= owed
            income = {}
    return value, cost


def _case(
    result: PlanResult,
    flows: Sequence[int],
    plan: Plan,
    rates: MarginalRates,
    market: MarketPath | None,
    waiting: int = 0,
) -> Case:
    closing = result.closing
    assert closing is not None
    savings, cost = _savings(flows, plan, rates, market)
    owing = result.rows[0].mortgage_opening > 0
    paid_off = next((row.month for row in result.rows if not row.mortgage_closing), None)
    return Case(
        result=result,
        portfolio=sum(amount for _, amount in closing.accounts),
        portfolio_cost=closing.cost,
        savings=savings,
        savings_cost=cost,
        cash=waiting,
        mortgage=sum(amount for _, amount in closing.mortgages),
        line=sum(amount for _, amount in closing.lines),
        paid_off=paid_off if owing else None,
    )


def build_cases(
    household: Household,
    result: PlanResult,
    rates: MarginalRates,
    opening_classes: Mapping[str, OpeningClasses] | None = None,
    tax_of_year: TaxOfYear | None = None,
    file: str = "",
    market: MarketPath | None = None,
) -> Cases:
    """The plan, the ordinary mortgage, and the same cash put into prepayments.

    `tax_of_year` must carry nothing from call to call here (flat rates do not);
    without it each case computes its own tax as the plan does. `market` must be
    the one the plan was run with.
    """
    plan = household.plan
    assert plan is not None
    alone = without_reborrowing(household)
    assert alone.plan is not None
    ordinary = run_plan(alone, opening_classes, tax_of_year=tax_of_year, file=file, market=market)
    spent = [out_of_pocket(row, plan) for row in result.rows]
    usual = [out_of_pocket(row, alone.plan) for row in ordinary.rows]
    budget = [max(pair) for pair in zip(spent, usual, strict=True)]

    def unused(used: Sequence[int]) -> list[int]:
        return [given - taken for given, taken in zip(budget, used, strict=True)]

    prepaid, left = _prepaid(alone, budget, opening_classes, tax_of_year, file, market)
    assert prepaid.closing is not None
    # Distributions the plan still holds for prepayment have left the account in
    # `out_of_pocket`, so its unused cash holds them; what the third case has set
    # aside is in none of its flows.
    return Cases(
        plan=_case(result, unused(spent), plan, rates, market),
        ordinary=_case(ordinary, unused(usual), plan, rates, market),
        prepayments=_case(prepaid, left, plan, rates, market, prepaid.closing.held_cash),
        cash_total=sum(budget),
    )


def _prepaid(
    alone: Household,
    budget: Sequence[int],
    opening_classes: Mapping[str, OpeningClasses] | None,
    tax_of_year: TaxOfYear | None,
    file: str,
    market: MarketPath | None,
) -> tuple[PlanResult, list[int]]:
    """Run the mortgage with the budget's spare cash prepaid on the next payment date.

    Also returns, by month, the cash it could not use: refused by the privilege,
    or left once no mortgage is owed.
    """
    plan = alone.plan
    assert plan is not None
    flows: list[int] = []
    waiting = 0

    def set_aside(row: PlanRow) -> int:
        nonlocal waiting
        spare = budget[len(flows)] - (out_of_pocket(row, plan) - waiting)
        waiting = max(0, spare - row.refused) if row.mortgage_closing else 0
        flows.append(spare - waiting)
        return waiting

    result = run_plan(
        alone,
        opening_classes,
        tax_of_year=tax_of_year,
        file=file,
        set_aside=set_aside,
        market=market,
    )
    return result, flows
