"""Small households in the domain's language, for tests of tracing.

`lines` are written as text, a posting a row:

    2025-01-01 draw 60000.00 personal
    2025-01-05 draw 40000.00 invest
    2025-02-01 repayment 20000.00

The word after a draw is its use: `invest` (into `inv`, with evidence),
`personal`, `none` (no claim), or any use of the file with evidence.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from ledger.core.trace_types import Trace
from ledger.core.tracing import trace
from planning.core.household_file import household_from_json
from planning.core.types import Household

OUTFLOWS = {"draw": 1, "fee": 1, "interest": 1, "repayment": -1}


def cents(text: str) -> int:
    """Dollars as text to cents."""
    return int(Decimal(text) * 100)


def dollars(amount: int) -> str:
    """Cents to dollars as text."""
    return f"{Decimal(amount) / 100:.2f}"


def household(
    line: str,
    account: list[dict[str, Any]] | None = None,
    *,
    starts: str = "2025-01-01",
    ends: str = "2025-12-31",
    rates: list[list[str]] | None = None,
    opening: str = "0.00",
    account_opening: str = "0.00",
    uses: list[dict[str, Any]] | None = None,
    other_lines: dict[str, str] | None = None,
    **facility: str,
) -> Household:
    """A household whose line `line` and account `inv` each have one statement."""
    found: list[dict[str, Any]] = list(uses or [])
    statements = [
        _line_statement(ref, text, starts, ends, opening if ref == "line" else "0.00",
                        rates or [[starts, "0.06"]], found)
        for ref, text in {"line": line, **(other_lines or {})}.items()
    ]  # fmt: skip
    statements.append(
        {"account": "inv", "starts": starts, "ends": ends, "opening": account_opening,
         "closing": account_opening, "entries": account or []}
    )  # fmt: skip
    return household_from_json(
        {
            "format": "towpath/household", "version": 1,
            "household": {"ref": "HH-T", "name": "Test", "province": "ON", "advisor": None},
            "members": [{"ref": "m1", "name": "A", "province": "ON"}],
            "facility": {"lender_value": "900000.00", "registered_limit": "720000.00",
                         "line_cap": "585000.00", **facility},
            "mortgages": [],
            "lines": [{"ref": ref, "spread": "0"} for ref in ("line", *(other_lines or {}))],
            "investments": [{"ref": "inv", "kind": "non-registered", "owners": ["m1"]},
                            {"ref": "inv2", "kind": "non-registered", "owners": ["m1"]},
                            {"ref": "inv3", "kind": "non-registered", "owners": ["m1"]},
                            {"ref": "tfsa", "kind": "tfsa", "owners": ["m1"]}],
            "prime": [], "statements": statements, "uses": found, "plan": None,
        },
        "test",
    )  # fmt: skip


def _line_statement(
    ref: str, text: str, starts: str, ends: str, opening: str, rates: list[list[str]],
    uses: list[dict[str, Any]],
) -> dict[str, Any]:  # fmt: skip
    entries = []
    balance = cents(opening)
    for number, row in enumerate(filter(None, (one.strip() for one in text.splitlines()))):
        day, kind, amount, *use = row.split()
        name = f"{ref}-{number + 1}"
        entries.append({"id": name, "date": day, "kind": kind, "amount": amount})
        balance += OUTFLOWS[kind] * cents(amount)
        if use and use[0] == "invest":
            split = {
                "amount": amount,
                "use": "income-investment",
                "to": "inv",
                "evidence": ["slip"],
            }
            uses.append({"draw": name, "splits": [split]})
        elif use and use[0] != "none":
            split = {"amount": amount, "use": use[0], "evidence": ["slip"]}
            if len(use) > 1:
                split["to"] = use[1]
            if len(use) > 2:
                split["of"] = use[2]
            uses.append({"draw": name, "splits": [split]})
    closing = ("-" if balance < 0 else "") + dollars(abs(balance))
    return {"account": ref, "starts": starts, "ends": ends, "opening": opening,
            "closing": closing, "rates": rates, "entries": entries}  # fmt: skip


def traced(found: Household, day: str = "2025-12-31") -> Trace:
    """The household's trace at a date."""
    return trace(found, date.fromisoformat(day))
