"""What the proposal assumes, line by line, and who bears it if it turns out otherwise."""

from __future__ import annotations

from planning.core.money import text_from_cents
from planning.core.purpose import plan_discount
from planning.core.rates import merged_prime, rate_on
from planning.core.types import Household, Mortgage, Plan
from reports.packets.values import Json

Assumed = dict[str, str | None]


def assumed_rows(household: Household, compared: Json) -> list[Assumed]:
    """The assumptions in order: `what` (a code), its value and shape, `about`, and the bearer.

    `shape` says how `value` is written: percent, money, text, or word (a code
    again). `bearer` is "household", "law", "choice" (the household's own to
    change), or "lender" until the date `until`.
    """
    plan = household.plan
    assert plan is not None
    rows: list[Assumed] = []
    for mortgage in household.mortgages:
        rows += _mortgage(mortgage, plan)
    prime = rate_on(merged_prime(plan.prime, household.prime), plan.starts)
    if prime is not None:
        rows.append(_percent("prime", prime))
        rows += [_percent("line-rate", prime + one.spread, one.ref) for one in household.lines]
    rows += _borrowing(plan)
    rows.append(_percent("growth", plan.investment.growth_annual))
    rows += [
        _percent(f"yield-{kind}", rate) for kind, rate in plan.investment.yields_annual if rate
    ]
    rows.append(_word("distributions", f"distributions-{plan.investment.distributions}"))
    rows.append(_word("refund", f"refund-{plan.refund}"))
    rows.append(_row("refund-month", str(plan.refund_month), "text", "choice"))
    rows += _tax(compared)
    rows.append(_percent("inflation", plan.inflation))
    rows.append(_percent("discount", plan_discount(household)))
    return rows


def _mortgage(mortgage: Mortgage, plan: Plan) -> list[Assumed]:
    rows: list[Assumed] = []
    for term in mortgage.terms:
        if term.matures <= plan.starts:
            continue
        until = term.matures.isoformat()
        if term.rate_annual is not None:
            rows.append(
                _percent("mortgage-rate", term.rate_annual, mortgage.ref, "lender")
                | {"until": until}
            )
        elif term.spread is not None:
            rows.append(_percent("mortgage-spread", term.spread, mortgage.ref))
    rows += [
        _percent("renewal-rate", one.rate_annual, one.mortgage) | {"on": one.on.isoformat()}
        for one in plan.renewals
        if one.mortgage == mortgage.ref
    ]
    rows.append(
        _percent("privilege", mortgage.prepayment_privilege, mortgage.ref, "lender")
        | {"until": mortgage.terms[-1].matures.isoformat()}
    )
    return rows


def _borrowing(plan: Plan) -> list[Assumed]:
    rows: list[Assumed] = []
    if plan.reborrow is not None:
        rows.append(_percent("share", plan.reborrow.share, bearer="choice"))
        for what, cents in (
            ("opening-draw", plan.reborrow.opening_draw_cents),
            ("reserve", plan.reborrow.reserve_cents),
        ):
            if cents:
                rows.append(_row(what, text_from_cents(cents), "money", "choice"))
    if plan.dam is not None:
        rows.append(_row("receipts", text_from_cents(plan.dam.receipts_cents), "money"))
        rows.append(_row("expenses", text_from_cents(plan.dam.expenses_cents), "money"))
    rows.append(_word("line-interest", f"line-interest-{plan.line_interest}"))
    return rows


def _tax(compared: Json) -> list[Assumed]:
    found = compared["assumptions"]
    rates = found["tax_rates"]
    kinds = ("ordinary", "eligible_dividend", "capital_gain")
    rows = [_row(f"tax-{kind}", str(rates[kind]), "percent", "law") for kind in kinds]
    return [*rows, _word("tax-from", f"tax-from-{found['tax_rates_from']}", "law")]


def _percent(what: str, rate: object, about: str = "", bearer: str = "household") -> Assumed:
    return _row(what, f"{rate:f}", "percent", bearer, about)


def _word(what: str, code: str, bearer: str = "choice") -> Assumed:
    return _row(what, code, "word", bearer)


def _row(what: str, value: str, shape: str, bearer: str = "household", about: str = "") -> Assumed:
    return {
        "what": what,
        "about": about,
        "on": None,
        "value": value,
        "shape": shape,
        "bearer": bearer,
        "until": None,
    }
