"""The lender's rule for the amortising part above the cap, on one payment, in dollars.

Sources: the household model's facility section; the arithmetic is the plan's own.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any, get_args

from planning.core.money import text_from_cents
from planning.core.room import cap65_cents, opening_excess_cents, principal_to_excess_cents
from planning.core.types import ExcessRule, Facility, Household

PRINCIPAL = 100_000
"""The payment the example follows: 1,000.00 of principal."""
_EXAMPLE = Facility(
    lender_value_cents=60_000_000,
    valued_on=None,
    registered_limit_cents=48_000_000,
    revolving_cap=Decimal("0.65"),
    line_cap_cents=39_000_000,
    excess_rule="excess-first",
    capitalised_interest="compounding",
    interest_method="paid",
)
_OWED = (45_000_000, 0)


def worked_rows(content: dict[str, Any], value: Household | None) -> dict[str, Any]:
    """What each rule does with 1,000.00 of principal: the household's figures once they are known.

    Until the file can be read: a home of 600,000.00 with 450,000.00 owed.
    """
    facility, (mortgages, lines), own = _EXAMPLE, _OWED, False
    if value is not None and value.plan is not None:
        opening = dict(value.plan.opening)
        mortgages = sum(opening.get(one.ref, 0) for one in value.mortgages)
        lines = sum(opening.get(one.ref, 0) for one in value.lines)
        facility, own = value.facility, True
    excess = opening_excess_cents(facility, mortgages, lines)
    chosen = (content.get("facility") or {}).get("excess_rule", "excess-first")
    rows = []
    for rule in get_args(ExcessRule):
        sent = principal_to_excess_cents(rule, PRINCIPAL, excess, mortgages)
        rows.append(
            {
                "rule": rule,
                "chosen": rule == chosen,
                "sent": text_from_cents(sent),
                "freed": text_from_cents(PRINCIPAL - sent),
            }
        )
    return {
        "own": own,
        "rows": rows,
        "value": text_from_cents(facility.lender_value_cents),
        "cap": text_from_cents(cap65_cents(facility)),
        "owed": text_from_cents(mortgages + lines),
        "excess": text_from_cents(excess),
        "principal": text_from_cents(PRINCIPAL),
    }
