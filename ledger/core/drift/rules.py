"""Drift: what a household's month shows that the plan did not intend.

Every rule is one function from a `DriftContext` to findings; `RULES` lists
them in the order of the reference model. The life of a finding over several
closes is folded by `lives`.
"""

from __future__ import annotations

from collections.abc import Callable

from ledger.core.drift.cash import distribution_not_applied, refund_not_applied
from ledger.core.drift.context import DriftContext
from ledger.core.drift.findings import Finding
from ledger.core.drift.interest import deduction_off_plan, interest_mismatch, interest_unpaid
from ledger.core.drift.leaks import capital_leak, income_overstated, proceeds_leak
from ledger.core.drift.limits import cap_exceeded, limit_cut, limit_short, over_limit
from ledger.core.drift.lives import merged
from ledger.core.drift.mortgage import (
    payment_missed,
    payment_off_plan,
    prepayment_over_privilege,
    trigger_rate,
)
from ledger.core.drift.papers import balance_break, statement_missing
from ledger.core.drift.people import owner_mismatch, underwater
from ledger.core.drift.rates import rate_off_plan
from ledger.core.drift.reborrow import late_reborrow, missed_reborrow
from ledger.core.drift.renewals import renewal_due, renewal_passed
from ledger.core.drift.suitability import disclosure_stale, leverage_threshold
from ledger.core.drift.taxes import amt_exposure, quebec_limit, tax_benefit_dominates
from ledger.core.drift.uses import (
    idle_draw,
    mixed_line,
    personal_use,
    registered_destination,
    unsupported_draw,
)

Rule = Callable[[DriftContext], tuple[Finding, ...]]

RULES: tuple[Rule, ...] = (
    missed_reborrow,
    late_reborrow,
    personal_use,
    registered_destination,
    unsupported_draw,
    idle_draw,
    mixed_line,
    capital_leak,
    proceeds_leak,
    income_overstated,
    interest_unpaid,
    interest_mismatch,
    balance_break,
    statement_missing,
    payment_missed,
    payment_off_plan,
    renewal_due,
    renewal_passed,
    rate_off_plan,
    limit_short,
    limit_cut,
    over_limit,
    cap_exceeded,
    trigger_rate,
    prepayment_over_privilege,
    refund_not_applied,
    distribution_not_applied,
    deduction_off_plan,
    owner_mismatch,
    underwater,
    leverage_threshold,
    disclosure_stale,
    amt_exposure,
    quebec_limit,
    tax_benefit_dominates,
)


def findings_at(context: DriftContext) -> tuple[Finding, ...]:
    """Every finding that holds at one close, in the order of the rules."""
    return merged(one for rule in RULES for one in rule(context))
