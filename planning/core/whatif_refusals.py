"""Why a change to a plan, or a renewal offer, is refused: a code with its values.

The desk says it in the reader's language by the code; commands and services say
it in English, as a Problem.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from config.problems import BadInput, Problem

REFUSALS: dict[str, tuple[str, str]] = {
    "no-plan": ("the household has no plan", "Load a household file with a plan first"),
    "no-mortgage": (
        "there is no mortgage {mortgage!r} in this household",
        "Name one of the household's mortgages",
    ),
    "no-renewal": (
        "no renewal of {mortgage!r} lies ahead within the plan",
        "Change the rate in force instead, or lengthen the plan",
    ),
    "no-prime": (
        "there is no prime rate on or before {day}",
        "Add the prime rate in force on that day to the plan or the household",
    ),
    "no-reborrow": ("the plan re-borrows nothing", "Load a plan that says what to re-borrow"),
    "no-account": (
        "the refund cannot be invested: the plan names no account to invest into",
        "Choose to prepay or to keep it",
    ),
    "refund-unknown": ("{value!r} is no way to use a refund", "Use prepay, invest or keep"),
    "outside": ("{value} is out of range", "Use {low} to {high}"),
    "prime-outside": ("prime would be {rate}", "Keep it from {low} to {high}"),
    "not-positive": ("the amount is not above zero", "Give a positive amount, or leave it out"),
    "outside-plan": ("{day} lies outside the plan", "Use a day from {starts} to {ends}"),
    "payment-low": (
        "the stated payment does not cover the first interest",
        "Check the payment and the rate against the offer",
    ),
    "term-outside": ("a term of {years} years is out of range", "Use 1 to 10 years"),
    "no-offer": ("no offer is given", "Give at least one offer with its rate"),
    "too-many": ("there are {count} offers", "Compare at most {most}"),
    "not-a-renewal": (
        "only a fixed rate with the payment solved anew can be planned",
        "Load the household file with the new term once the offer is signed",
    ),
}


@dataclass(frozen=True, slots=True)
class Refusal:
    """A value that cannot be taken: `where` names the field, `code` the reason."""

    where: str
    code: str
    values: tuple[tuple[str, str], ...] = ()

    def problem(self, file: str) -> Problem:
        """The refusal in English, with its remedy."""
        message, remedy = REFUSALS[self.code]
        values = dict(self.values)
        return Problem(file, self.where, message.format(**values), remedy.format(**values))


class Refused(BadInput):
    """A change or an offer that cannot be tried, with every refusal found."""

    def __init__(self, refusals: Iterable[Refusal], file: str) -> None:
        self.refusals: tuple[Refusal, ...] = tuple(refusals)
        super().__init__(one.problem(file) for one in self.refusals)
