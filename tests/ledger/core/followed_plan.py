"""A household that does exactly what its plan says, as its lender and broker would report it.

The statements are written from the plan's own payments, draws and month rows:
every payment on its day, every freed cent re-borrowed and invested the same day
with its confirmation, interest paid from cash on the day it is posted.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container
from typing import Any

from hypothesis import strategies as st

from planning.core.household_file import household_to_json
from planning.core.money import cents_from_text, text_from_cents
from planning.core.months import first_day, last_day, month_of
from planning.core.plan import run_plan
from planning.core.types import Household
from tests.planning.core.plan_cases import household

YIELD = "eligible_dividend"
FREQUENCIES = ("monthly", "semi-monthly", "biweekly", "weekly", "accelerated-biweekly")


@st.composite
def planned(draw: st.DrawFn) -> Household:
    """A household with a plan of eight to sixteen months and no statement yet."""
    points = st.integers(150, 900)
    kinds = draw(st.sampled_from(((), (YIELD,))))
    cents = draw(st.integers(10_000_000, 50_000_000))
    return household(
        {
            "mortgages.0.original_principal": text_from_cents(cents),
            "mortgages.0.amortization_months": draw(st.integers(180, 300)),
            "mortgages.0.frequency": draw(st.sampled_from(FREQUENCIES)),
            "mortgages.0.first_payment": f"2025-01-{draw(st.integers(1, 13)):02d}",
            "mortgages.0.compounding": draw(st.sampled_from(("semi-annual", "monthly"))),
            "mortgages.0.terms.0.starts": "2025-01-01",
            "mortgages.0.terms.0.matures": draw(st.sampled_from(("2030-01-01", "2025-12-01"))),
            "mortgages.0.terms.0.rate": f"{draw(points) / 10_000:.4f}",
            "mortgages.0.terms.0.payment": None,
            "facility.excess_rule": draw(st.sampled_from(("excess-first", "proportional", "none"))),
            "facility.registered_limit": text_from_cents(cents),
            "lines.0.day_basis": draw(st.sampled_from((365, "actual"))),
            "plan.opening": {"mtg": text_from_cents(cents)},
            "plan.months": draw(st.integers(8, 16)),
            "plan.reborrow.share": draw(st.sampled_from(("1", "1", "0.5", "0.8333"))),
            "plan.refund": draw(st.sampled_from(("keep", "prepay"))),
            "plan.investment.growth": f"{draw(st.integers(400, 1200)) / 10_000:.4f}",
            "plan.investment.yields": {kind: f"{draw(points) / 30_000:.4f}" for kind in kinds},
            "plan.investment.distributions": "reinvest",
        }
    )


def followed(plan_of: Household) -> dict[str, Any]:
    """The household's file after its plan's months, everything done as planned."""
    result = run_plan(plan_of)
    entries: dict[tuple[str, str], list[dict[str, Any]]] = defaultdict(list)
    uses = []
    for number, one in enumerate(result.payments):
        row: dict[str, Any] = {"id": f"mtg-{number}", "date": one.date.isoformat()}
        if one.payment:
            row |= {"kind": "payment", "amount": text_from_cents(one.payment),
                    "interest": text_from_cents(one.interest),
                    "principal": text_from_cents(one.principal)}  # fmt: skip
        else:
            row |= {"kind": "prepayment", "amount": text_from_cents(one.prepayment)}
        entries["mtg", month_of(one.date)].append(row)
    for number, drawn in enumerate(result.draws):
        amount, draw_id, month = text_from_cents(drawn.amount), f"draw-{number}", drawn.date
        entries["line", month_of(month)].append(
            {"id": draw_id, "date": month.isoformat(), "kind": "draw", "amount": amount}
        )
        entries["inv", month_of(month)].append(
            {"id": f"buy-{number}", "date": month.isoformat(), "kind": "contribution",
             "amount": amount, "from": draw_id}
        )  # fmt: skip
        uses.append({"draw": draw_id, "splits": [
            {"amount": amount, "use": "income-investment", "to": "inv", "evidence": ["confirm"]}
        ]})  # fmt: skip
    statements = []
    balances = {"mtg": result.rows[0].mortgage_opening, "line": 0, "inv": 0}
    for month in result.rows:
        ends = last_day(month.month).isoformat()
        if month.line_interest:
            posted = text_from_cents(month.line_interest)
            entries["line", month.month] += [
                {"id": f"{kind}-{ends}", "date": ends, "kind": kind, "amount": posted}
                for kind in ("interest", "repayment")
            ]
        if month.distribution:
            entries["inv", month.month].append(
                {"id": f"paid-{ends}", "date": ends, "kind": "distribution", "of": YIELD,
                 "amount": text_from_cents(month.distribution), "paid": "reinvested"}
            )  # fmt: skip
        closings = {
            "mtg": month.mortgage_closing,
            "line": month.line_closing,
            "inv": month.portfolio_closing,
        }
        for account, closing in closings.items():
            statements.append(
                {"account": account, "starts": first_day(month.month).isoformat(), "ends": ends,
                 "opening": text_from_cents(balances[account]),
                 "closing": text_from_cents(closing),
                 "entries": entries[account, month.month]}
            )  # fmt: skip
            balances[account] = closing
    return household_to_json(plan_of) | {"statements": statements, "uses": uses}


def bent(file: dict[str, Any], draw: st.DrawFn) -> dict[str, Any]:
    """The file after lapses: draws changed or missed, other uses, prepayments, wrong postings.

    Balances follow the entries, so that every statement still adds up.
    """
    balances: dict[str, int] = {}
    uses = {one["draw"]: one for one in file["uses"]}
    for statement in file["statements"]:
        account = statement["account"]
        kept = []
        for entry in statement["entries"]:
            cents = cents_from_text(entry["amount"])
            lapse = draw(st.sampled_from(("", "", "", "more", "less", "none", "use", "prepaid")))
            if account == "line" and entry["kind"] == "draw":
                if lapse == "none":
                    uses.pop(entry["id"])
                    continue
                if lapse in ("more", "less"):
                    cents = cents * 2 if lapse == "more" else cents // 2 + 1
                splits = uses[entry["id"]]["splits"]
                splits[0]["amount"] = text_from_cents(cents)
                if lapse == "use":
                    splits[0] |= {"use": "personal", "to": None}
            elif account == "line" and entry["kind"] == "interest" and lapse == "more":
                cents += 7_31
            elif account == "mtg" and lapse == "prepaid" and entry["kind"] == "payment":
                kept.append(
                    {"id": f"{entry['id']}-more", "date": entry["date"], "kind": "prepayment",
                     "amount": "250.00"}
                )  # fmt: skip
            kept.append({**entry, "amount": text_from_cents(cents)})
        statement["entries"] = kept
        if account == "inv":
            _unname(kept, uses)
        else:
            _add_up(statement, balances)
    return file | {"uses": list(uses.values())}


def _signed(entry: dict[str, Any]) -> int:
    cents = cents_from_text(entry.get("principal") or entry["amount"])
    return cents if entry["kind"] in ("draw", "interest") else -cents


def _unname(entries: list[dict[str, Any]], draws: Container[str]) -> None:
    """Purchases no longer name a draw that was never made."""
    for one in entries:
        if one.get("from") not in draws:
            one.pop("from", None)


def _add_up(statement: dict[str, Any], balances: dict[str, int]) -> None:
    """The statement opens where the last one closed and closes where its entries lead."""
    account = statement["account"]
    opening = balances.get(account, cents_from_text(statement["opening"]))
    balances[account] = opening + sum(_signed(one) for one in statement["entries"])
    statement["opening"] = text_from_cents(opening)
    statement["closing"] = text_from_cents(balances[account])
