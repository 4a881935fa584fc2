"""Reader and writer for the plan of a household file."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal, cast

from planning.core.household_parts import read_steps
from planning.core.json_reader import Node
from planning.core.money import text_from_cents
from planning.core.types import (
    YIELD_KINDS,
    Dam,
    Extra,
    MarginalRates,
    Plan,
    PlanInvestment,
    Reborrow,
    Renewal,
)


def read_plan(node: Node) -> Plan:
    """The plan's inputs; what needs arithmetic is checked when the plan runs."""
    node.keys(
        ("starts", "months", "opening", "investment"),
        (
            "prime",
            "renewals",
            "reborrow",
            "line_interest",
            "refund",
            "refund_month",
            "marginal",
            "extras",
            "dam",
            "inflation",
            "discount",
        ),
    )
    line_interest = node.get("line_interest")
    refund = node.get("refund")
    month = node.get("refund_month")
    discount = node.get("discount")
    inflation = node.get("inflation")
    return Plan(
        starts=node.get("starts").day(),
        months=node.get("months").whole(1, 1200),
        opening=tuple((key, amount.cents()) for key, amount in node.get("opening").items()),
        prime=read_steps(node.get("prime"), "-0.05", "1"),
        renewals=tuple(_read_renewal(one) for one in node.get("renewals").each()),
        reborrow=None if node.get("reborrow").absent else _read_reborrow(node.get("reborrow")),
        line_interest=cast(
            "Literal['from-cash', 'from-line']",
            "from-cash"
            if line_interest.absent
            else line_interest.choice(("from-cash", "from-line")),
        ),
        investment=_read_investment(node.get("investment")),
        refund=cast(
            "Literal['prepay', 'invest', 'keep']",
            "keep" if refund.absent else refund.choice(("prepay", "invest", "keep")),
        ),
        refund_month=5 if month.absent else month.whole(1, 12),
        marginal=None if node.get("marginal").absent else _read_marginal(node.get("marginal")),
        extras=tuple(_read_extra(one) for one in node.get("extras").each()),
        dam=None if node.get("dam").absent else _read_dam(node.get("dam")),
        inflation=Decimal("0.02") if inflation.absent else inflation.rate("-0.10", "0.50"),
        discount_annual=None if discount.absent else discount.rate("0", "1"),
    )


def _read_renewal(node: Node) -> Renewal:
    node.keys(("mortgage", "on", "rate"))
    return Renewal(
        mortgage=node.get("mortgage").ref(),
        on=node.get("on").day(),
        rate_annual=node.get("rate").rate("0", "1"),
    )


def _read_reborrow(node: Node) -> Reborrow:
    node.keys(("share", "line", "into"), ("opening_draw", "reserve"))
    opening, reserve = node.get("opening_draw"), node.get("reserve")
    return Reborrow(
        share=node.get("share").rate("0", "1"),
        line=node.get("line").ref(),
        into=node.get("into").ref(),
        opening_draw_cents=0 if opening.absent else opening.cents(),
        reserve_cents=0 if reserve.absent else reserve.cents(),
    )


def _read_investment(node: Node) -> PlanInvestment:
    node.keys(("growth", "yields", "distributions"))
    yields = node.get("yields")
    yields.keys((), YIELD_KINDS)
    return PlanInvestment(
        growth_annual=node.get("growth").rate("-0.99", "1"),
        yields_annual=tuple(
            (kind, yields.get(kind).rate("0", "1") if yields.has(kind) else Decimal(0))
            for kind in YIELD_KINDS
        ),
        distributions=cast(
            "Literal['reinvest', 'prepay', 'cash']",
            node.get("distributions").choice(("reinvest", "prepay", "cash")),
        ),
    )


def _read_marginal(node: Node) -> MarginalRates:
    taxed = tuple(kind for kind in YIELD_KINDS if kind != "return_of_capital")
    node.keys(("ordinary", *taxed))
    return MarginalRates(
        ordinary=node.get("ordinary").rate("0", "1"),
        by_kind=tuple((kind, node.get(kind).rate("-1", "1")) for kind in taxed),
    )


def _read_extra(node: Node) -> Extra:
    node.keys(("on", "amount"))
    return Extra(on=node.get("on").day(), amount_cents=node.get("amount").cents())


def _read_dam(node: Node) -> Dam:
    node.keys(("kind", "receipts", "expenses"))
    return Dam(
        kind=cast("Literal['rental', 'business']", node.get("kind").choice(("rental", "business"))),
        receipts_cents=node.get("receipts").cents(),
        expenses_cents=node.get("expenses").cents(),
    )


def plan_to_json(plan: Plan) -> dict[str, object]:
    """The plan as the JSON value of its file, keys in a fixed order."""
    reborrow, marginal = plan.reborrow, plan.marginal
    row: dict[str, object] = {
        "starts": plan.starts.isoformat(),
        "months": plan.months,
        "opening": {ref: text_from_cents(cents) for ref, cents in plan.opening},
        "prime": [[day.isoformat(), f"{rate:f}"] for day, rate in plan.prime],
        "renewals": [
            {"mortgage": one.mortgage, "on": one.on.isoformat(), "rate": f"{one.rate_annual:f}"}
            for one in plan.renewals
        ],
        "reborrow": None
        if reborrow is None
        else {
            "share": f"{reborrow.share:f}",
            "line": reborrow.line,
            "into": reborrow.into,
            "opening_draw": text_from_cents(reborrow.opening_draw_cents),
            "reserve": text_from_cents(reborrow.reserve_cents),
        },
        "line_interest": plan.line_interest,
        "investment": {
            "growth": f"{plan.investment.growth_annual:f}",
            "yields": {kind: f"{rate:f}" for kind, rate in plan.investment.yields_annual},
            "distributions": plan.investment.distributions,
        },
        "refund": plan.refund,
        "refund_month": plan.refund_month,
        "marginal": None
        if marginal is None
        else {"ordinary": f"{marginal.ordinary:f}"}
        | {str(kind): f"{rate:f}" for kind, rate in marginal.by_kind},
        "extras": [
            {"on": one.on.isoformat(), "amount": text_from_cents(one.amount_cents)}
            for one in plan.extras
        ],
        "inflation": f"{plan.inflation:f}",
    }
    if plan.dam is not None:
        row["dam"] = {
            "kind": plan.dam.kind,
            "receipts": text_from_cents(plan.dam.receipts_cents),
            "expenses": text_from_cents(plan.dam.expenses_cents),
        }
    if plan.discount_annual is not None:
        row["discount"] = f"{plan.discount_annual:f}"
    return row
