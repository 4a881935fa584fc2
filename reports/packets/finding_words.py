"""Every drift code in plain words: its title and why it matters."""

from __future__ import annotations

from reports.packets.words import FindingWords as Words
from reports.packets.words import gettext_noop

FINDING_WORDS: dict[str, Words] = {
    "missed-reborrow": Words(
        gettext_noop("Room left unused"),
        gettext_noop("Principal paid on the mortgage freed room that was not re-borrowed."),
    ),
    "late-reborrow": Words(
        gettext_noop("Re-borrowed late"),
        gettext_noop(
            "The draw came after the principal that freed its room, past the days allowed: {limit}."
        ),
    ),
    "personal-use": Words(
        gettext_noop("Borrowed money used personally"),
        gettext_noop("Interest on this part cannot be claimed, and it mixes the line."),
    ),
    "registered-destination": Words(
        gettext_noop("Borrowed money in a registered plan"),
        gettext_noop("Interest on money put into a registered plan is never deductible."),
    ),
    "unsupported-draw": Words(
        gettext_noop("Draw without evidence"),
        gettext_noop("The use is claimed but not shown, so its interest is not counted."),
    ),
    "idle-draw": Words(
        gettext_noop("Draw invested late"),
        gettext_noop(
            "The borrowed money lay idle before it was invested, past the days allowed: {limit}."
        ),
    ),
    "mixed-line": Words(
        gettext_noop("Line mixes eligible and ineligible use"),
        gettext_noop("Every repayment is shared over both uses until the line is split."),
    ),
    "capital-leak": Words(
        gettext_noop("Returned capital taken out"),
        gettext_noop("Return of capital left the account, so part of the loan lost its use."),
    ),
    "proceeds-leak": Words(
        gettext_noop("Sale proceeds taken out"),
        gettext_noop("Proceeds left the account, so part of the loan lost its use."),
    ),
    "income-overstated": Words(
        gettext_noop("More income taken out than received"),
        gettext_noop("A withdrawal called income exceeds the income received so far."),
    ),
    "interest-unpaid": Words(
        gettext_noop("Line interest not paid"),
        gettext_noop("The plan pays interest from cash; unpaid interest compounds and waits."),
    ),
    "interest-mismatch": Words(
        gettext_noop("Interest posted differs from computed"),
        gettext_noop("The rate or the day count on file may be wrong, or the lender erred."),
    ),
    "balance-break": Words(
        gettext_noop("Statement does not add up"),
        gettext_noop("The balances do not follow from the entries or from the last statement."),
    ),
    "statement-missing": Words(
        gettext_noop("Statement missing"),
        gettext_noop("No statement covers the last day of the month."),
    ),
    "payment-missed": Words(
        gettext_noop("Mortgage payment missed"),
        gettext_noop("A scheduled payment does not appear on the statement."),
    ),
    "payment-off-plan": Words(
        gettext_noop("Payment differs from plan"),
        gettext_noop("What was paid on the mortgage is not what the plan expects."),
    ),
    "renewal-due": Words(
        gettext_noop("Mortgage renewal due"),
        gettext_noop("The term ends soon and no next term is on file."),
    ),
    "renewal-passed": Words(
        gettext_noop("Mortgage term has ended"),
        gettext_noop("The term matured and no next term is on file."),
    ),
    "rate-off-plan": Words(
        gettext_noop("Rate differs from plan"),
        gettext_noop(
            "The rate in force is away from the plan's by {limit} percentage points or more."
        ),
    ),
    "limit-short": Words(
        gettext_noop("Limit below what was agreed"),
        gettext_noop("The stated limit is lower than the one the facility should give."),
    ),
    "limit-cut": Words(
        gettext_noop("Limit lowered"),
        gettext_noop("The lender lowered the limit although the mortgage fell."),
    ),
    "over-limit": Words(
        gettext_noop("Line over its limit"),
        gettext_noop("The balance is above the limit in force."),
    ),
    "cap-exceeded": Words(
        gettext_noop("Borrowing above the lending cap"),
        gettext_noop("The line or the whole facility exceeds its share of the home's value."),
    ),
    "trigger-rate": Words(
        gettext_noop("Payment barely covers interest"),
        gettext_noop("At this rate the mortgage payment frees little or no principal."),
    ),
    "prepayment-over-privilege": Words(
        gettext_noop("Prepayments above the privilege"),
        gettext_noop("The lender may charge for prepayments above the yearly privilege."),
    ),
    "refund-not-applied": Words(
        gettext_noop("Tax refund not applied"),
        gettext_noop("The plan prepays the mortgage with the refund; most of it did not arrive."),
    ),
    "distribution-not-applied": Words(
        gettext_noop("Distributions not applied"),
        gettext_noop("The plan prepays the mortgage with distributions; most did not arrive."),
    ),
    "deduction-off-plan": Words(
        gettext_noop("Deductible interest off plan"),
        gettext_noop("The year's deductible interest is more than {limit} away from plan."),
    ),
    "owner-mismatch": Words(
        gettext_noop("Owners do not match"),
        gettext_noop("Borrower, payer, account owner and claimant are not the same people."),
    ),
    "underwater": Words(
        gettext_noop("Portfolio worth less than the line"),
        gettext_noop("Selling everything today would not repay the line."),
    ),
    "leverage-threshold": Words(
        gettext_noop("Leverage test crossed"),
        gettext_noop("A suitability measure of the firm is exceeded."),
    ),
    "disclosure-stale": Words(
        gettext_noop("Leverage disclosure out of date"),
        gettext_noop(
            "The last borrowing-to-invest disclosure is past the months allowed: {limit}."
        ),
    ),
    "amt-exposure": Words(
        gettext_noop("Alternative minimum tax possible"),
        gettext_noop("The year to date shows alternative minimum tax."),
    ),
    "quebec-limit": Words(
        gettext_noop("Québec investment expense limit"),
        gettext_noop("Part of the expense exceeds the year's investment income and is deferred."),
    ),
    "tax-benefit-dominates": Words(
        gettext_noop("Tax benefit exceeds the return expected without it"),
        gettext_noop("The general anti-avoidance rule looks at plans made mainly for tax."),
    ),
}

LIMITS: dict[str, str] = {
    "late-reborrow": "late_reborrow_days",
    "idle-draw": "idle_days",
    "rate-off-plan": "rate_off_plan",
    "deduction-off-plan": "deduction_share",
    "disclosure-stale": "disclosure_months",
}
"""The threshold that the words of a code name as {limit}."""

UNKNOWN = Words(
    gettext_noop("Other finding"),
    gettext_noop("See the evidence of the finding."),
)


def finding_words(code: str) -> Words:
    """The words for a code; a code without words of its own gets general ones."""
    return FINDING_WORDS.get(code, UNKNOWN)
