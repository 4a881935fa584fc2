"""The words of the trade that packets and desk share, marked for translation.

Pure data: `gettext_noop` only marks a string for the catalogue; whoever draws
the page translates it into the reader's language.
"""

from __future__ import annotations

from typing import NamedTuple


def gettext_noop(message: str) -> str:
    """Mark a string for the catalogue and give it back unchanged."""
    return message


class FindingWords(NamedTuple):
    """What a drift code is called and why it matters; the remedy comes with the finding."""

    title: str
    why: str


SEVERITY_WORDS: dict[str, tuple[str, str]] = {
    "act": (
        gettext_noop("Act"),
        gettext_noop("a deduction is being lost, or the matter is hard to undo later"),
    ),
    "fix": (gettext_noop("Fix"), gettext_noop("money leaks every month until it is mended")),
    "paper": (gettext_noop("Paper"), gettext_noop("a record is missing or does not agree")),
    "note": (gettext_noop("Note"), gettext_noop("worth knowing; nothing is lost yet")),
}

CLASS_WORDS: dict[str, str] = {
    "eligible": gettext_noop("Eligible use"),
    "unsupported": gettext_noop("Claimed, evidence missing"),
    "ineligible": gettext_noop("Ineligible use"),
}

CAUSE_WORDS: dict[str, str] = {
    "line-rate": gettext_noop("Line rate"),
    "mortgage-rate": gettext_noop("Mortgage rate"),
    "payments": gettext_noop("Mortgage payments"),
    "reborrowing": gettext_noop("Re-borrowing"),
    "use-of-draws": gettext_noop("Use of draws"),
    "leaks": gettext_noop("Capital taken out"),
    "posting": gettext_noop("Posting differences"),
}

USE_WORDS: dict[str, str] = {
    "income-investment": gettext_noop("Income-producing investment"),
    "business-expense": gettext_noop("Business expense"),
    "rental-expense": gettext_noop("Rental expense"),
    "line-interest": gettext_noop("Interest of the line"),
    "registered-plan": gettext_noop("Registered plan"),
    "personal": gettext_noop("Personal spending"),
    "personal-mortgage": gettext_noop("Personal mortgage"),
    "non-income-asset": gettext_noop("Asset without income"),
    "life-policy": gettext_noop("Life insurance policy"),
    "no-interest-loan": gettext_noop("Loan without interest"),
    "refinance": gettext_noop("Refinancing of another line"),
    "none": gettext_noop("No use recorded"),
}

ENTRY_WORDS: dict[str, str] = {
    "draw": gettext_noop("Draw"),
    "repayment": gettext_noop("Repayment"),
    "interest": gettext_noop("Interest"),
    "fee": gettext_noop("Fee"),
    "opening": gettext_noop("Opening balance"),
    "adjustment": gettext_noop("Adjustment"),
    "reclass": gettext_noop("Change of use"),
}

INSTRUCTION_WORDS: dict[str, str] = {
    "payment": gettext_noop("Pay the mortgage from own cash"),
    "opening": gettext_noop("Draw the opening amount on the line and invest it the same day"),
    "interest-draw": gettext_noop("Pay the line's interest by a draw on the line"),
    "dam": gettext_noop("Pay the expenses that earn the receipts by a draw on the line"),
    "catch-up": gettext_noop("Re-borrow the room left open and invest it the same day"),
    "reborrow": gettext_noop("After the mortgage payment, re-borrow and invest the same day"),
    "interest": gettext_noop("Pay the line's interest from own cash"),
    "refund": gettext_noop("Prepay the mortgage with the year's tax refund"),
    "extra": gettext_noop("Make the planned prepayment on the mortgage"),
}

HOLD_WORDS: dict[str, str] = {
    "no-plan": gettext_noop("No plan is on file, so no re-borrowing can be scheduled."),
    "plan-ended": gettext_noop("The plan's months are over; agree on a new plan."),
    "mixed-line": gettext_noop(
        "The line mixes eligible and ineligible use: draw only after the split, or into a "
        "clean sub-account."
    ),
    "limit-cut": gettext_noop("The lender lowered the limit: confirm it before drawing."),
    "over-limit": gettext_noop("The line is over its limit: pay the excess before drawing."),
    "disclosure-stale": gettext_noop(
        "Give the borrowing-to-invest disclosure before the next draw."
    ),
    "renewal-passed": gettext_noop(
        "The mortgage term has ended: amounts change once the new term is on file."
    ),
}

RECORD_WORDS: dict[str, str] = {
    "use": gettext_noop("State what the draw was used for, and attach the evidence"),
    "evidence": gettext_noop("Attach the trade confirmation or invoice for the draw"),
    "statement": gettext_noop("Obtain the statement that covers the month end"),
    "break": gettext_noop("Ask the institution why the statement does not add up"),
}

ROW_GROUPS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        gettext_noop("Mortgage"),
        (
            ("mortgage_opening", gettext_noop("Owed at the start")),
            ("payment", gettext_noop("Payment")),
            ("interest", gettext_noop("of it interest")),
            ("principal", gettext_noop("of it principal")),
            ("prepayment", gettext_noop("Prepayment")),
            ("mortgage_closing", gettext_noop("Owed at the end")),
        ),
    ),
    (
        gettext_noop("Line"),
        (
            ("line_opening", gettext_noop("Owed at the start")),
            ("draw", gettext_noop("Re-borrowed")),
            ("interest_draw", gettext_noop("Drawn for interest")),
            ("line_interest", gettext_noop("Interest posted")),
            ("line_interest_paid", gettext_noop("Interest paid")),
            ("line_closing", gettext_noop("Owed at the end")),
            ("room_freed", gettext_noop("Room freed by principal")),
            ("limit", gettext_noop("Limit")),
            ("room", gettext_noop("Room left")),
        ),
    ),
    (
        gettext_noop("Use of borrowed money"),
        (
            ("eligible", gettext_noop("Eligible use")),
            ("unsupported", gettext_noop("Claimed, evidence missing")),
            ("ineligible", gettext_noop("Ineligible use")),
            ("deductible", gettext_noop("Deductible interest")),
        ),
    ),
    (
        gettext_noop("Investments"),
        (
            ("contribution", gettext_noop("Contribution")),
            ("growth", gettext_noop("Change in value")),
            ("distribution", gettext_noop("Distributions")),
            ("portfolio_closing", gettext_noop("Value at the end")),
            ("refund", gettext_noop("Tax refund")),
        ),
    ),
)
MEASURE_WORDS: dict[str, str] = {
    "deductible": gettext_noop("Deductible interest, month"),
    "deductible_year": gettext_noop("Deductible interest, year to date"),
    "mortgage": gettext_noop("Mortgage owed"),
    "line": gettext_noop("Line owed"),
}

STATE_WORDS: dict[str, str] = {
    "open": gettext_noop("Not seen yet"),
    "seen": gettext_noop("Seen"),
    "accepted": gettext_noop("Accepted"),
    "cured": gettext_noop("Cured"),
    "closed": gettext_noop("Ended by itself"),
    "any": gettext_noop("Everything open"),
}
EVENT_WORDS: dict[str, str] = {
    "opened": gettext_noop("Found by the close"),
    "changed": gettext_noop("Changed"),
    "cured": gettext_noop("Cured: the trigger stopped"),
    "mended": gettext_noop("Cured: the missing record was put on file"),
    "passed": gettext_noop("Ended by itself: its time is over"),
    "withdrawn": gettext_noop("Withdrawn: by the corrected facts it never was"),
    "returned": gettext_noop("Back on the list"),
    "seen": gettext_noop("Seen"),
    "accepted": gettext_noop("Accepted"),
    "released": gettext_noop("Put back on the list"),
    "expired": gettext_noop("The acceptance ended; back on the list"),
    "assigned": gettext_noop("Assigned"),
    "unassigned": gettext_noop("Assigned to nobody"),
    "noted": gettext_noop("Note"),
}
WAY_WORDS: dict[str, str] = {
    "left": gettext_noop("Left as it is"),
    "unsplit": gettext_noop("The same cash repaid without a split"),
    "cured": gettext_noop("Steps carried out"),
    "reborrowed": gettext_noop("Steps carried out, the room re-borrowed and invested"),
    "payoff": gettext_noop("Whole line paid off"),
}

PACKET_WORDS: dict[str, str] = {
    "queued": gettext_noop("waiting to be drawn"),
    "rendering": gettext_noop("being drawn"),
    "stored": gettext_noop("stored"),
    "parked": gettext_noop("could not be drawn; ask whoever runs this server"),
}
RUN_WORDS: dict[str, str] = {
    "scheduled": gettext_noop("Scheduled"),
    "running": gettext_noop("Running"),
    "complete": gettext_noop("Complete"),
    "complete_with_exceptions": gettext_noop("Complete, some set aside"),
}

CAUTIONS: tuple[str, ...] = (
    gettext_noop(
        "Borrowing to invest magnifies losses as well as gains: the loan and its interest "
        "must be paid even if the investments fall in value."
    ),
    gettext_noop(
        "Whether interest can be deducted depends on the use of the borrowed money at the "
        "time and on the records kept. Mortgage interest on a home does not become "
        "deductible; only the interest on money borrowed and used to earn income may be."
    ),
    gettext_noop(
        "Figures labelled plan or estimate rest on assumptions and are not a promise of results."
    ),
    gettext_noop(
        "This document is information for the client's file. It is not tax, legal or "
        "investment advice. Confirm it with a licensed professional before acting; "
        "provincial and local rules apply."
    ),
)
SHORT_CAUTION = gettext_noop(
    "Leverage magnifies losses. Tax positions depend on use and records. Not tax, legal or "
    "investment advice; confirm with a licensed professional. Local rules apply."
)
