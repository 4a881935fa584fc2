"""The firm's thresholds for drift, with the defaults the firm may change.

A window in days counts from the fact to the close; money compares strictly as
each rule says. Defaults are the product's own choice, common practice without a
published source, but for the leverage tests: those are the figures usually
cited for the leverage criteria of mutual fund dealers (MSN-0069, Policy 2), and
six months is the disclosure window of MFD Rule 2.6.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Thresholds:
    """Amounts in cents, windows in days or months, shares as decimal fractions."""

    missed_reborrow_cents: int = 5_000
    missed_reborrow_days: int = 10
    late_reborrow_cents: int = 5_000
    late_reborrow_days: int = 10
    unsupported_days: int = 30
    idle_days: int = 5
    interest_unpaid_days: int = 25
    payment_days: int = 5
    payment_off_plan_cents: int = 100
    renewal_days: int = 120
    renewal_fix_days: int = 60
    renewal_act_days: int = 21
    rate_off_plan: Decimal = Decimal("0.0025")
    limit_short_cents: int = 5_000
    limit_cut_cents: int = 5_000
    loan_to_value: Decimal = Decimal("0.80")
    trigger_margin: Decimal = Decimal("0.10")
    refund_share: Decimal = Decimal("0.90")
    refund_days: int = 60
    distribution_share: Decimal = Decimal("0.90")
    distribution_days: int = 35
    deduction_share: Decimal = Decimal("0.10")
    deduction_cents: int = 25_000
    underwater_note: Decimal = Decimal("1.00")
    underwater_fix: Decimal = Decimal("0.90")
    underwater_act: Decimal = Decimal("0.80")
    leverage_net_worth: Decimal = Decimal("0.30")
    leverage_liquid: Decimal = Decimal("0.50")
    debt_service: Decimal = Decimal("0.35")
    leverage_age_years: int = 60
    leverage_horizon_years: int = 5
    disclosure_months: int = 6


DEFAULTS = Thresholds()


def share_of(cents: int, share: Decimal | Fraction) -> Fraction:
    """A share of an amount, exact."""
    return Fraction(share) * cents
