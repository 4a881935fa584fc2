"""Every drift code in plain words: its title, why it matters, the usual remedy."""

from __future__ import annotations

from reports.packets.words import FindingWords as Words
from reports.packets.words import gettext_noop

_SPLIT = gettext_noop(
    "Ask the lender to split the line into an eligible and an ineligible sub-account, "
    "to the cent, then repay only the ineligible one."
)
_NO_PARTIAL = gettext_noop(
    "Do not repay part of the mixed line: a partial repayment is shared over both uses."
)
_EVIDENCE = gettext_noop("Attach the confirmation, invoice or transfer slip to the draw.")
_ASK_LENDER = gettext_noop("Ask the lender in writing and keep the answer on file.")
_SIGN_OFF = gettext_noop("Review suitability with the client and record the sign-off.")

FINDING_WORDS: dict[str, Words] = {
    "missed-reborrow": Words(
        gettext_noop("Room left unused"),
        gettext_noop("Principal paid on the mortgage freed room that was not re-borrowed."),
        (
            gettext_noop("Re-borrow the open room and invest it the same day."),
            gettext_noop("If the household chose to skip it, record that choice."),
        ),
    ),
    "late-reborrow": Words(
        gettext_noop("Re-borrowed late"),
        gettext_noop("The draw came more than ten days after the principal that freed its room."),
        (gettext_noop("Set the transfer for the day after each mortgage payment."),),
    ),
    "personal-use": Words(
        gettext_noop("Borrowed money used personally"),
        gettext_noop("Interest on this part cannot be claimed, and it mixes the line."),
        (_SPLIT, _NO_PARTIAL),
    ),
    "registered-destination": Words(
        gettext_noop("Borrowed money in a registered plan"),
        gettext_noop("Interest on money put into a registered plan is never deductible."),
        (_SPLIT, gettext_noop("Fund registered plans from own cash from now on.")),
    ),
    "unsupported-draw": Words(
        gettext_noop("Draw without evidence"),
        gettext_noop("The use is claimed but not shown, so its interest is not counted."),
        (_EVIDENCE, gettext_noop("Once the paper is on file the claim is restored from the draw.")),
    ),
    "idle-draw": Words(
        gettext_noop("Draw invested late"),
        gettext_noop("The borrowed money lay idle for more than five days before it was invested."),
        (_EVIDENCE, gettext_noop("Move and invest borrowed money on the day it is drawn.")),
    ),
    "mixed-line": Words(
        gettext_noop("Line mixes eligible and ineligible use"),
        gettext_noop("Every repayment is shared over both uses until the line is split."),
        (_SPLIT, _NO_PARTIAL),
    ),
    "capital-leak": Words(
        gettext_noop("Returned capital taken out"),
        gettext_noop("Return of capital left the account, so part of the loan lost its use."),
        (
            gettext_noop("Have return of capital reinvested, or pay it to the line."),
            _SPLIT,
        ),
    ),
    "proceeds-leak": Words(
        gettext_noop("Sale proceeds taken out"),
        gettext_noop("Proceeds left the account, so part of the loan lost its use."),
        (
            gettext_noop("Keep proceeds invested, or pay them to the line."),
            _SPLIT,
        ),
    ),
    "income-overstated": Words(
        gettext_noop("More income taken out than received"),
        gettext_noop("A withdrawal called income exceeds the income received so far."),
        (gettext_noop("Correct what the withdrawal was made of, from the account statement."),),
    ),
    "interest-unpaid": Words(
        gettext_noop("Line interest not paid"),
        gettext_noop("The plan pays interest from cash; unpaid interest compounds and waits."),
        (
            gettext_noop("Pay the interest from own cash, before December 31 at the latest."),
            gettext_noop("Set up the payment for the day after each posting."),
        ),
    ),
    "interest-mismatch": Words(
        gettext_noop("Interest posted differs from computed"),
        gettext_noop("The rate or the day count on file may be wrong, or the lender erred."),
        (gettext_noop("Check the rate in force on the statement."), _ASK_LENDER),
    ),
    "balance-break": Words(
        gettext_noop("Statement does not add up"),
        gettext_noop("The balances do not follow from the entries or from the last statement."),
        (gettext_noop("Get the missing page or a corrected statement and import it."),),
    ),
    "statement-missing": Words(
        gettext_noop("Statement missing"),
        gettext_noop("No statement covers the last day of the month."),
        (gettext_noop("Download the statement from the institution and import it."),),
    ),
    "payment-missed": Words(
        gettext_noop("Mortgage payment missed"),
        gettext_noop("A scheduled payment does not appear on the statement."),
        (gettext_noop("Find out why, and bring the mortgage up to date."), _ASK_LENDER),
    ),
    "payment-off-plan": Words(
        gettext_noop("Payment differs from plan"),
        gettext_noop("What was paid on the mortgage is not what the plan expects."),
        (gettext_noop("Update the plan if the change is meant to last."),),
    ),
    "renewal-due": Words(
        gettext_noop("Mortgage renewal due"),
        gettext_noop("The term ends soon and no next term is on file."),
        (
            gettext_noop("Compare offers and confirm that the line keeps re-advancing."),
            gettext_noop("Record the new term before it starts."),
        ),
    ),
    "renewal-passed": Words(
        gettext_noop("Mortgage term has ended"),
        gettext_noop("The term matured and no next term is on file."),
        (
            gettext_noop("Record the term the lender applied."),
            gettext_noop("Confirm that accounts and limits survived the renewal."),
        ),
    ),
    "rate-off-plan": Words(
        gettext_noop("Rate differs from plan"),
        gettext_noop("The rate in force is a quarter point or more away from the plan's."),
        (gettext_noop("Run the plan again at the rate in force."),),
    ),
    "limit-short": Words(
        gettext_noop("Limit below what was agreed"),
        gettext_noop("The stated limit is lower than the one the facility should give."),
        (_ASK_LENDER, gettext_noop("If the lender's rule differs, correct the facility and plan.")),
    ),
    "limit-cut": Words(
        gettext_noop("Limit lowered"),
        gettext_noop("The lender lowered the limit although the mortgage fell."),
        (
            gettext_noop("Stop re-borrowing until the lender explains it."),
            _SIGN_OFF,
        ),
    ),
    "over-limit": Words(
        gettext_noop("Line over its limit"),
        gettext_noop("The balance is above the limit in force."),
        (gettext_noop("Pay the excess from own cash."),),
    ),
    "cap-exceeded": Words(
        gettext_noop("Borrowing above the lending cap"),
        gettext_noop("The line or the whole facility exceeds its share of the home's value."),
        (gettext_noop("Bring the balance below the cap, or have the home valued again."),),
    ),
    "trigger-rate": Words(
        gettext_noop("Payment barely covers interest"),
        gettext_noop("At this rate the mortgage payment frees little or no principal."),
        (gettext_noop("Raise the payment or make a lump-sum payment."),),
    ),
    "prepayment-over-privilege": Words(
        gettext_noop("Prepayments above the privilege"),
        gettext_noop("The lender may charge for prepayments above the yearly privilege."),
        (gettext_noop("Hold further prepayments until next year, or ask what they would cost."),),
    ),
    "refund-not-applied": Words(
        gettext_noop("Tax refund not applied"),
        gettext_noop("The plan prepays the mortgage with the refund; most of it did not arrive."),
        (gettext_noop("Prepay the refund, then re-borrow the room it frees."),),
    ),
    "distribution-not-applied": Words(
        gettext_noop("Distributions not applied"),
        gettext_noop("The plan prepays the mortgage with distributions; most did not arrive."),
        (gettext_noop("Direct cash distributions to the mortgage, income only."),),
    ),
    "deduction-off-plan": Words(
        gettext_noop("Deductible interest off plan"),
        gettext_noop("The year's deductible interest is more than a tenth away from plan."),
        (gettext_noop("Read the causes beside the figure; act on the largest one first."),),
    ),
    "owner-mismatch": Words(
        gettext_noop("Owners do not match"),
        gettext_noop("Borrower, payer, account owner and claimant are not the same people."),
        (
            gettext_noop("Have the accountant confirm who may claim the interest."),
            gettext_noop("Put the reason on file if the split is meant."),
        ),
    ),
    "underwater": Words(
        gettext_noop("Portfolio worth less than the line"),
        gettext_noop("Selling everything today would not repay the line."),
        (
            _SIGN_OFF,
            gettext_noop("Show the client the loss case and the cost of stopping."),
        ),
    ),
    "leverage-threshold": Words(
        gettext_noop("Leverage test crossed"),
        gettext_noop("A suitability measure of the firm is exceeded."),
        (_SIGN_OFF,),
    ),
    "disclosure-stale": Words(
        gettext_noop("Leverage disclosure out of date"),
        gettext_noop("The last borrowing-to-invest disclosure is older than six months."),
        (gettext_noop("Give the disclosure before the next re-borrowing."),),
    ),
    "amt-exposure": Words(
        gettext_noop("Alternative minimum tax possible"),
        gettext_noop("The year to date shows alternative minimum tax."),
        (gettext_noop("Ask the accountant before realizing more gains this year."),),
    ),
    "quebec-limit": Words(
        gettext_noop("Québec investment expense limit"),
        gettext_noop("Part of the expense exceeds the year's investment income and is deferred."),
        (gettext_noop("Carry the excess in the pool and tell the accountant."),),
    ),
    "tax-benefit-dominates": Words(
        gettext_noop("Tax benefit exceeds the return expected without it"),
        gettext_noop("The general anti-avoidance rule looks at plans made mainly for tax."),
        (gettext_noop("Review the plan's assumptions with a tax professional; keep the memo."),),
    ),
}

UNKNOWN = Words(
    gettext_noop("Other finding"),
    gettext_noop("See the finding's evidence."),
    (gettext_noop("Review the evidence with the client."),),
)


def finding_words(code: str) -> Words:
    """The words for a code; a code without words of its own gets general ones."""
    return FINDING_WORDS.get(code, UNKNOWN)
