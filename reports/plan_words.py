"""The words of the plan's pages, marked for translation."""

from __future__ import annotations

from reports.packets.words import gettext_noop

CASE_WORDS: dict[str, str] = {
    "base": gettext_noop("As planned"),
    "returns": gettext_noop("Prices fall 30% on the last day"),
    "rates": gettext_noop("Rates 3 points higher from the start"),
    "both": gettext_noop("Both"),
}

KIND_WORDS: dict[str, str] = {
    "fixed": gettext_noop("Fixed"),
    "adjustable": gettext_noop("Variable, payment moves"),
    "static": gettext_noop("Variable, payment stays"),
}

REFUND_WORDS: dict[str, str] = {
    "prepay": gettext_noop("Prepay the mortgage"),
    "invest": gettext_noop("Invest it"),
    "keep": gettext_noop("Keep it"),
}

FIELD_WORDS: dict[str, str] = {
    "since": gettext_noop("Changes hold from"),
    "mortgage": gettext_noop("Mortgage"),
    "rate_now": gettext_noop("Mortgage rate from then, %"),
    "rate_at_renewal": gettext_noop("Mortgage rate at the next renewal, %"),
    "prime_shift": gettext_noop("Prime up or down, points"),
    "growth": gettext_noop("Portfolio growth a year, %"),
    "total_yield": gettext_noop("Portfolio yield a year, %"),
    "share": gettext_noop("Share re-borrowed, %"),
    "once": gettext_noop("One prepayment, $"),
    "once_on": gettext_noop("On the day"),
    "yearly": gettext_noop("Prepayment every year, $"),
    "yearly_from": gettext_noop("From"),
    "refund": gettext_noop("Use of the refund"),
    "on": gettext_noop("Renewal on"),
    "offers": gettext_noop("Offers"),
    "name": gettext_noop("Name"),
    "kind": gettext_noop("Kind"),
    "years": gettext_noop("Term, years"),
    "rate": gettext_noop("Rate, or spread to prime, %"),
    "payment": gettext_noop("Stated payment, $"),
    "reason": gettext_noop("Reason"),
    "confirm": gettext_noop("Confirmation"),
    "choice": gettext_noop("Offer to keep"),
    "plan": gettext_noop("Plan"),
}

# What is wrong and what to do, by the code of a refusal (planning.core.whatif_refusals)
# or of a field that cannot be read.
REFUSAL_WORDS: dict[str, str] = {
    "no-plan": gettext_noop("The household has no plan. Load a household file with one first."),
    "no-mortgage": gettext_noop("There is no mortgage {mortgage}. Choose one of the household."),
    "no-renewal": gettext_noop(
        "No renewal of {mortgage} lies ahead within the plan. Change the rate in force instead."
    ),
    "no-prime": gettext_noop("There is no prime rate on or before {day}. Choose a later day."),
    "no-reborrow": gettext_noop("The plan re-borrows nothing. Leave this empty."),
    "no-account": gettext_noop(
        "The plan names no account to invest into. Choose to prepay or to keep the refund."
    ),
    "refund-unknown": gettext_noop("{value} is no use of a refund. Choose one of the list."),
    "outside": gettext_noop("{value} is out of range. Give {low} to {high}."),
    "prime-outside": gettext_noop("Prime would be {rate}. Keep it from {low} to {high}."),
    "not-positive": gettext_noop("Give an amount above zero, or leave this empty."),
    "outside-plan": gettext_noop("{day} lies outside the plan. Use a day from {starts} to {ends}."),
    "payment-low": gettext_noop(
        "The stated payment does not cover the first interest. Check it against the offer."
    ),
    "term-outside": gettext_noop("A term of {years} years is out of range. Give 1 to 10 years."),
    "no-offer": gettext_noop("Give at least one offer with its rate."),
    "too-many": gettext_noop("There are {count} offers. Compare at most {most}."),
    "not-a-renewal": gettext_noop(
        "Only a fixed rate without a stated payment can be planned. "
        "Load the household file with the new term once the offer is signed."
    ),
    "not-a-number": gettext_noop("{value} is not a number. Write it like 4.89."),
    "not-an-amount": gettext_noop("{value} is not an amount. Write it like 5000.00."),
    "not-a-day": gettext_noop("{value} is not a date. Write it like 2027-05-01."),
    "not-a-year": gettext_noop("{value} is not a number of years. Write it like 5."),
    "not-a-choice": gettext_noop("{value} is not in the list. Choose one of it."),
    "no-reason": gettext_noop("Say why the plan changes."),
    "long-reason": gettext_noop("Shorten the reason to 500 characters."),
    "not-confirmed": gettext_noop("Confirm that the loss cases were looked at."),
    "nothing-changed": gettext_noop("Nothing is changed yet. Change a value first."),
    "no-choice": gettext_noop("Choose the offer to keep."),
}
