"""One invented household and its report, small enough to check by hand.

The Heron Quay household: a mortgage of 400,000.00, a line, a portfolio; the
third quarter of 2026 with one draw well used, one without evidence and one
spent on the household. The report is written out, not computed, so that these
tests hold the packet and the pages alone.
"""

from __future__ import annotations

from typing import Any

from planning.core.household_file import household_from_json
from planning.core.money import cents_from_text, text_from_cents
from planning.core.plan import run_plan
from planning.core.plan_types import row_json
from planning.core.types import Household

REF = "HH-0700"
MONTHS = ("2026-07", "2026-08", "2026-09")


def file(**changes: Any) -> dict[str, Any]:
    """The household file; `changes` replace whole sections."""
    whole: dict[str, Any] = {
        "format": "towpath/household",
        "version": 1,
        "household": {
            "ref": REF,
            "name": "Heron Quay",
            "province": "ON",
            "advisor": "iona.marsh@fernhollow.example",
        },
        "members": [
            {
                "ref": "m1",
                "name": "Avery Heron",
                "province": "ON",
                "born": 1985,
                "income": {"2026": "120000.00"},
            }
        ],
        "facility": {
            "lender_value": "700000.00",
            "valued_on": "2026-01-01",
            "registered_limit": "560000.00",
            "revolving_cap": "0.65",
            "line_cap": "455000.00",
        },
        "mortgages": [
            {
                "ref": "mtg",
                "original_principal": "400000.00",
                "first_payment": "2026-07-15",
                "amortization_months": 300,
                "frequency": "monthly",
                "compounding": "semi-annual",
                "prepayment_privilege": "0.15",
                "borrowers": ["m1"],
                "terms": [
                    {
                        "starts": "2026-06-15",
                        "matures": "2027-03-15",
                        "kind": "fixed",
                        "rate": "0.0480",
                        "payment": None,
                    }
                ],
            }
        ],
        "lines": [{"ref": "line", "day_basis": 365, "spread": "0.0050", "borrowers": ["m1"]}],
        "investments": [{"ref": "inv", "kind": "non-registered", "owners": ["m1"]}],
        "prime": [["2026-01-01", "0.0495"]],
        "statements": [
            {
                "account": "line",
                "starts": "2026-07-01",
                "ends": "2026-09-30",
                "opening": "0.00",
                "closing": "6000.00",
                "limit": "62000.00",
                "entries": [
                    _draw("line-2026-07-1", "2026-07-15", "1000.00"),
                    _draw("line-2026-08-1", "2026-08-15", "2000.00"),
                    _draw("line-2026-09-1", "2026-09-04", "3000.00"),
                ],
            },
            {
                "account": "mtg",
                "starts": "2026-07-01",
                "ends": "2026-09-30",
                "opening": "400000.00",
                "closing": "397900.00",
                "entries": [],
            },
        ],
        "uses": [
            {
                "draw": "line-2026-07-1",
                "splits": [
                    {
                        "amount": "1000.00",
                        "use": "income-investment",
                        "to": "inv",
                        "evidence": ["confirm-0715"],
                    }
                ],
            },
            {
                "draw": "line-2026-09-1",
                "splits": [{"amount": "3000.00", "use": "personal", "evidence": []}],
            },
        ],
        "plan": {
            "starts": "2026-07-01",
            "months": 24,
            "opening": {"mtg": "400000.00", "line": "0.00", "inv": "0.00"},
            "prime": [["2026-01-01", "0.0495"]],
            "renewals": [{"mortgage": "mtg", "on": "2027-03-15", "rate": "0.0450"}],
            "reborrow": {
                "share": "1",
                "line": "line",
                "into": "inv",
                "opening_draw": "0.00",
                "reserve": "0.00",
            },
            "line_interest": "from-cash",
            "investment": {"growth": "0.0300", "yields": {}, "distributions": "reinvest"},
            "refund": "prepay",
            "refund_month": 5,
            "marginal": {
                "ordinary": "0.4341",
                "eligible_dividend": "0.2538",
                "other_dividend": "0.3625",
                "interest": "0.4341",
                "foreign": "0.4341",
                "capital_gain": "0.2171",
            },
            "inflation": "0.02",
        },
    }
    return whole | changes


def _draw(ref: str, day: str, amount: str) -> dict[str, str]:
    return {"id": ref, "date": day, "kind": "draw", "amount": amount}


def household(**changes: Any) -> Household:
    """The household read from its file."""
    return household_from_json(file(**changes), f"{REF}.json")


def report(**changes: Any) -> dict[str, Any]:
    """Its report through September 2026; `changes` replace whole sections."""
    plan = [row_json(row) for row in run_plan(household()).rows]
    whole: dict[str, Any] = {
        "format": "towpath/report",
        "version": 1,
        "household": REF,
        "through": "2026-09",
        "engine": "0.1.0",
        "plan": plan,
        "months": [
            _month(plan[0], "0.00", "399300.00", "1000.00", "-0.40"),
            _month(plan[1], "4.10", "398600.00", "3000.00", "-1.25"),
            _month(plan[2], "7.77", "397900.00", "6000.00", "-0.33"),
        ],
        "lines": {
            "line": {
                "balance": "6000.00",
                "eligible": "1000.00",
                "unsupported": "2000.00",
                "ineligible": "3000.00",
                "unpaid_interest": {
                    "eligible": "0.00",
                    "unsupported": "0.00",
                    "ineligible": "0.00",
                },
                "targets": {"inv": "1000.00", "business": "0.00"},
                "entries": [
                    _entry("line-2026-07-1", "2026-07-15", "1000.00", 0, "1000.00"),
                    _entry("line-2026-08-1", "2026-08-15", "2000.00", 1, "3000.00"),
                    _entry("line-2026-09-1", "2026-09-04", "3000.00", 2, "6000.00"),
                ],
            }
        },
        "deductions": {
            "2026": {
                "posted": "40.00",
                "paid": "40.00",
                "deductible": "11.87",
                "unsupported": "9.13",
                "ineligible": "19.00",
                "compound": "0.00",
            }
        },
        "drift": [
            _finding("mixed-line", "line", "act", "3000.00", "71.10"),
            _finding("personal-use", "line-2026-09-1", "act", "3000.00", "71.10"),
            _finding("missed-reborrow", "line", "fix", "812.34", "19.25")
            | {
                "steps": [
                    {
                        "template": "Draw {amount} on {line} and send it the same day to "
                        "{account}.",
                        "values": {"amount": "812.34", "line": "line", "account": "inv"},
                    }
                ]
            },
            _finding("unsupported-draw", "line-2026-08-1", "paper", "2000.00", "47.40"),
            _finding("renewal-due", "mtg:2027-03-15", "note", "393700.00", "0.00"),
            _finding("rate-off-plan", "line", "note", "15.00", "0.00")
            | {"last": "2026-07", "open": False},
        ],
    }
    return whole | changes


def _month(
    plan: dict[str, str], deductible: str, mortgage: str, line: str, rate: str
) -> dict[str, Any]:
    actual = plan | {
        "deductible": deductible,
        "mortgage_closing": mortgage,
        "line_closing": line,
        "portfolio_closing": "1010.00",
        "eligible": "1000.00",
    }
    gap = cents_from_text(deductible) - cents_from_text(plan["deductible"])
    rest = text_from_cents(gap - cents_from_text(rate))
    causes = {"line-rate": rate, "reborrowing": rest, "leaks": "0.00"}
    return {
        "month": plan["month"],
        "actual": {key: value for key, value in actual.items() if key != "month"},
        "variance": {},
        "attribution": {"deductible": causes},
        "digest": plan["month"].replace("-", "") * 10,
    }


def _entry(ref: str, day: str, amount: str, used: int, balance: str) -> dict[str, str]:
    parts = ["0.00", "0.00", "0.00"]
    parts[used] = amount
    return {
        "id": ref,
        "date": day,
        "kind": "draw",
        "amount": amount,
        "eligible": parts[0],
        "unsupported": parts[1],
        "ineligible": parts[2],
        "balance": balance,
    }


def _finding(code: str, key: str, severity: str, dollars: str, cost: str) -> dict[str, Any]:
    return {
        "code": code,
        "key": key,
        "first": "2026-07",
        "last": "2026-09",
        "dollars": dollars,
        "cost_per_year": cost,
        "severity": severity,
        "open": True,
        "evidence": ["line-2026-09-1"],
    }
