"""Words about people and access, marked for translation."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.translation import gettext_noop

from config.problems import Problem

ROLE_WORDS: Mapping[str, str] = {
    "principal": gettext_noop("Principal"),
    "advisor": gettext_noop("Advisor"),
    "assistant": gettext_noop("Assistant"),
    "client": gettext_noop("Client"),
    "accountant": gettext_noop("Accountant"),
    "system": gettext_noop("System"),
}
KIND_WORDS: Mapping[str, str] = {
    "page": gettext_noop("Page"),
    "packet": gettext_noop("Packet"),
    "evidence": gettext_noop("Paper"),
    "books": gettext_noop("Books"),
}
# What a form was refused for, by the problem's place and message.
_REFUSED: Mapping[str, str] = {
    "email no address": gettext_noop("Give an e-mail address."),
    "email open": gettext_noop("This address has an open invitation: send it again, or revoke it."),
    "email member": gettext_noop("This address is in the list of people already."),
    "email sign in": gettext_noop("Sign in as the invited address first."),
    "acts_for missing": gettext_noop("Name the advisors the assistant acts for."),
    "acts_for no such advisor": gettext_noop("Choose active advisors from the list."),
    "households missing": gettext_noop("Name the client's households."),
    "households no such household": gettext_noop("Choose households from the list."),
    "name missing or too long": gettext_noop("Give a name."),
    "person book": gettext_noop("Give this person's households to another advisor first."),
    "principal the last active principal": gettext_noop(
        "This is the last active principal: make another one first."
    ),
    "reason missing or too long": gettext_noop("Say why, in at most 500 letters."),
    "year no tax year": gettext_noop("Give a tax year of four digits."),
    "days out of range": gettext_noop("Give 1 to 90 days."),
    "max_uses out of range": gettext_noop("Give 1 to 100 visits."),
    "member no accountant": gettext_noop("Choose an accountant from the list."),
    "grant ended": gettext_noop("This access has ended: give a new one."),
    "invitation ended": gettext_noop("This invitation has ended: invite the person anew."),
}


def refusal(problem: Problem) -> str:
    """Why a form was refused, for the page to translate.

    A password's faults arrive in the page's language from the validators.
    """
    if problem.where == "password":
        return problem.message
    if problem.where == "book":
        return _REFUSED["person book"]
    known = _REFUSED.get(f"{problem.where} {problem.message}")
    return known or gettext_noop("That is not one of the choices.")
