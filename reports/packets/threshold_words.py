"""Every drift threshold in plain words, grouped by what it watches."""

from __future__ import annotations

from reports.packets.words import gettext_noop

THRESHOLD_WORDS: tuple[tuple[str, dict[str, str]], ...] = (
    (
        gettext_noop("Re-borrowing and evidence"),
        {
            "missed_reborrow": gettext_noop("Unused room is told from this amount on"),
            "missed_reborrow_days": gettext_noop(
                "Last days of the month over which the smallest room counts"
            ),
            "late_reborrow": gettext_noop("A late draw is told from this amount on"),
            "late_reborrow_days": gettext_noop("A draw is late after this many days"),
            "unsupported_days": gettext_noop("A draw may lack evidence for this many days"),
            "idle_days": gettext_noop("A draw may wait for its investment this many days"),
            "interest_unpaid_days": gettext_noop("Line interest may stay unpaid this many days"),
        },
    ),
    (
        gettext_noop("Mortgage and rates"),
        {
            "payment_days": gettext_noop("A payment is missed after this many days"),
            "payment_off_plan": gettext_noop("Payments may differ from the plan by this amount"),
            "renewal_days": gettext_noop("A renewal is told this many days ahead"),
            "renewal_fix_days": gettext_noop("A renewal is graver from this many days ahead"),
            "renewal_act_days": gettext_noop("A renewal is gravest from this many days ahead"),
            "rate_off_plan": gettext_noop("A rate differs from the plan from this many points on"),
            "trigger_margin": gettext_noop(
                "A payment barely covers interest up to this part above it"
            ),
        },
    ),
    (
        gettext_noop("Limits and caps"),
        {
            "limit_short": gettext_noop("A limit may be short by this amount"),
            "limit_cut": gettext_noop("A limit may fall by this amount"),
            "loan_to_value": gettext_noop("All debt may reach this part of the home's value"),
        },
    ),
    (
        gettext_noop("Refunds, distributions, deduction"),
        {
            "refund_share": gettext_noop("This part of a refund must be prepaid"),
            "refund_days": gettext_noop("A refund must be prepaid within this many days"),
            "distribution_share": gettext_noop("This part of a distribution must be prepaid"),
            "distribution_days": gettext_noop("A distribution must be prepaid in this many days"),
            "deduction_share": gettext_noop("The deduction may differ from the plan by this part"),
            "deduction": gettext_noop("The deduction may differ from the plan by this amount"),
        },
    ),
    (
        gettext_noop("Suitability"),
        {
            "underwater_note": gettext_noop("Note a portfolio below this part of the line"),
            "underwater_fix": gettext_noop("Fix a portfolio below this part of the line"),
            "underwater_act": gettext_noop("Act on a portfolio below this part of the line"),
            "leverage_net_worth": gettext_noop(
                "Borrowing to invest may reach this part of net worth"
            ),
            "leverage_liquid": gettext_noop(
                "Borrowing to invest may reach this part of liquid net worth"
            ),
            "debt_service": gettext_noop("All payments may reach this part of gross income"),
            "leverage_age_years": gettext_noop("Borrowers are reviewed from this age on"),
            "leverage_horizon_years": gettext_noop("The horizon must be at least this many years"),
            "disclosure_months": gettext_noop("A leverage disclosure holds for this many months"),
        },
    ),
)
