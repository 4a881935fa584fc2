"""The words of the trace pages: the rule behind every step, and the law it rests on.

Sections are those of docs/reference/tracing.md, where each rule is given in full.
"""

from __future__ import annotations

from typing import NamedTuple

from reports.packets.words import gettext_noop


class RuleWords(NamedTuple):
    """A rule in a sentence, the section that gives it in full, and its source."""

    text: str
    section: str
    law: str


_DRAWS, _REPAYMENTS, _LEAVING = (
    gettext_noop("Draws"),
    gettext_noop("Repayments"),
    gettext_noop("Money leaving an account"),
)
_INTEREST, _YEARS, _TARGETS = (
    gettext_noop("Interest"),
    gettext_noop("Years"),
    gettext_noop("Targets and own money"),
)
_BORROWED_TO_EARN = gettext_noop(
    "Income Tax Act, paragraph 20(1)(c): interest on borrowed money used to earn income from a "
    "business or property"
)
_FUNGIBLE = gettext_noop(
    "Canada Revenue Agency, folio S3-F6-C1, paragraph 1.43, and letter 2007-0221071E5"
)

RULE_WORDS: dict[str, RuleWords] = {
    "use": RuleWords(
        gettext_noop("Money used for income, with a paper or a purchase that shows it."),
        _DRAWS,
        _BORROWED_TO_EARN,
    ),
    "support": RuleWords(
        gettext_noop("Claimed for income, but nothing on file shows it: not deducted until it is."),
        _DRAWS,
        gettext_noop(
            "The taxpayer must trace the use: Canada Revenue Agency, folio S3-F6-C1, and "
            "Bronfman Trust v. The Queen, [1987] 1 SCR 32"
        ),
    ),
    "ineligible": RuleWords(
        gettext_noop("The current, direct use earns no income: never deducted."),
        _DRAWS,
        gettext_noop("Bronfman Trust v. The Queen, [1987] 1 SCR 32"),
    ),
    "registered": RuleWords(
        gettext_noop("Money borrowed for a registered plan: never deducted."),
        _DRAWS,
        gettext_noop("Income Tax Act, subsection 18(11): money borrowed for registered plans"),
    ),
    "line-interest": RuleWords(
        gettext_noop("Money borrowed to pay interest takes the use of the interest it paid."),
        _DRAWS,
        gettext_noop("Canada Revenue Agency, letters 2004-0070341E5 and 2005-0116661C6"),
    ),
    "refinance": RuleWords(
        gettext_noop("Money borrowed to repay an earlier debt keeps that debt's use."),
        _DRAWS,
        gettext_noop("Income Tax Act, subsection 20(3): borrowed money used to repay borrowings"),
    ),
    "interest": RuleWords(
        gettext_noop(
            "A posting is shared night by night by what each use owed, at the rate in force."
        ),
        _INTEREST,
        _BORROWED_TO_EARN,
    ),
    "repayment": RuleWords(
        gettext_noop(
            "A repayment pays interest first, then principal over every use in proportion; on a "
            "mixed line it cannot be aimed at one use."
        ),
        _REPAYMENTS,
        _FUNGIBLE,
    ),
    "capital": RuleWords(
        gettext_noop(
            "Capital returned and taken out of the account: the borrowed share of it loses its use."
        ),
        _LEAVING,
        gettext_noop("Van Steenis v. The Queen, 2018 TCC 78; Canada Revenue Agency, folio 1.40"),
    ),
    "proceeds": RuleWords(
        gettext_noop(
            "Proceeds of a sale taken out of the account: the borrowed part of what was sold "
            "loses its use."
        ),
        _LEAVING,
        gettext_noop(
            "Canada Revenue Agency, folio S3-F6-C1, paragraphs 1.36 to 1.39; Income Tax Act, "
            "section 20.1 for a source that vanished"
        ),
    ),
    "in-kind": RuleWords(
        gettext_noop("Investments moved into a registered plan: deducted no more from that day."),
        _LEAVING,
        gettext_noop("Income Tax Act, subsection 18(11): money borrowed for registered plans"),
    ),
    "relink": RuleWords(
        gettext_noop("Money moved to another investment account: the use follows it."),
        _LEAVING,
        gettext_noop("Tennant v. M.N.R., [1996] 1 SCR 305"),
    ),
    "own": RuleWords(
        gettext_noop("Own money in the account: it supports no draw."),
        _TARGETS,
        gettext_noop("Follows from the current, direct use; no source of its own"),
    ),
    "paid": RuleWords(
        gettext_noop("Deducted in the calendar year in which it was paid."),
        _YEARS,
        gettext_noop(
            "Income Tax Act, paragraphs 20(1)(c), interest paid in the year, and 20(1)(d), "
            "compound interest when paid"
        ),
    ),
    "payable": RuleWords(
        gettext_noop("Simple interest deducted when posted, compound interest when paid."),
        _YEARS,
        gettext_noop(
            "Income Tax Act, paragraphs 20(1)(c), interest payable for the year, and 20(1)(d), "
            "compound interest when paid"
        ),
    ),
    "mortgage": RuleWords(
        gettext_noop("Interest on money borrowed for a home is not deducted."),
        _DRAWS,
        _BORROWED_TO_EARN,
    ),
}

TARGET_WORDS: dict[str, str] = {
    "business": gettext_noop("Business"),
    "rental": gettext_noop("Rental property"),
    "interest": gettext_noop("Interest of the line, paid with borrowed money"),
}

KIND_WORDS: dict[str, str] = {
    "payment": gettext_noop("Mortgage payment"),
    "prepayment": gettext_noop("Prepayment"),
    "charge": gettext_noop("Charge"),
    "advance": gettext_noop("Advance"),
    "contribution": gettext_noop("Contribution"),
    "distribution": gettext_noop("Distribution"),
    "withdrawal": gettext_noop("Withdrawal"),
    "transfer-in-kind": gettext_noop("Transfer in kind"),
    "buy": gettext_noop("Purchase"),
    "sell": gettext_noop("Sale"),
    "relink": gettext_noop("Moved to another account"),
}

OUTCOME_WORDS: dict[str, str] = {
    "later": gettext_noop("Dated after the last closed month: nothing has come of it yet."),
    "draw": gettext_noop("Borrowed. Its use decides what becomes of its interest."),
    "interest": gettext_noop("Interest charged on the line, shared by what each use owed."),
    "repayment": gettext_noop("Paid interest first, the oldest first, and then principal."),
    "supports": gettext_noop("This contribution shows what a draw was used for."),
    "own": gettext_noop("Own money put into the account. It enters no deduction."),
    "moved": gettext_noop("Borrowed money left with it and lost its use from this day."),
    "followed": gettext_noop("Borrowed money followed it to another account and keeps its use."),
    "mortgage": gettext_noop("It enters no deduction. Principal repaid frees room to re-borrow."),
    "nothing": gettext_noop("It enters no deduction and changes no draw's use."),
}

METHOD_WORDS: dict[str, str] = {
    "paid": gettext_noop("by interest paid"),
    "payable": gettext_noop("by interest payable"),
}

FACT_WORDS: dict[str, str] = {
    "entry": gettext_noop("Statement line"),
    "statement": gettext_noop("Statement"),
    "use": gettext_noop("Use of a draw"),
    "evidence": gettext_noop("Evidence"),
    "term": gettext_noop("Mortgage term"),
    "prime": gettext_noop("Prime rate"),
    "facility": gettext_noop("Facility"),
    "mortgage": gettext_noop("Mortgage"),
    "line": gettext_noop("Line"),
    "investment": gettext_noop("Investment account"),
    "member": gettext_noop("Person"),
    "plan": gettext_noop("Plan"),
    "household": gettext_noop("Household"),
}

ACTION_WORDS: dict[str, str] = {
    "added": gettext_noop("added"),
    "removed": gettext_noop("removed"),
    "altered": gettext_noop("altered"),
}

FIELD_WORDS: dict[str, str] = {
    "account": gettext_noop("account"),
    "advisor": gettext_noop("advisor"),
    "amortization_months": gettext_noop("amortization in months"),
    "amount": gettext_noop("amount"),
    "biweekly_basis": gettext_noop("basis of biweekly payments"),
    "born": gettext_noop("born"),
    "borrowers": gettext_noop("borrowers"),
    "capitalised_interest": gettext_noop("capitalised interest"),
    "claimant": gettext_noop("claimant"),
    "closing": gettext_noop("closing"),
    "compounding": gettext_noop("compounding"),
    "cost_fraction": gettext_noop("cost fraction"),
    "dam": gettext_noop("cash damming"),
    "date": gettext_noop("date"),
    "day_basis": gettext_noop("day basis"),
    "discount_annual": gettext_noop("discount rate"),
    "excess_rule": gettext_noop("excess rule"),
    "extras": gettext_noop("planned prepayments"),
    "first_payment": gettext_noop("first payment"),
    "frequency": gettext_noop("frequency"),
    "gains": gettext_noop("realised gains"),
    "income": gettext_noop("income"),
    "inflation": gettext_noop("inflation"),
    "interest": gettext_noop("interest"),
    "interest_method": gettext_noop("interest method"),
    "investment": gettext_noop("investment"),
    "kind": gettext_noop("kind"),
    "known on": gettext_noop("known on"),
    "lender_value": gettext_noop("lender's value"),
    "limit": gettext_noop("limit"),
    "line_cap": gettext_noop("line cap"),
    "line_interest": gettext_noop("line interest"),
    "marginal": gettext_noop("marginal rates"),
    "matures": gettext_noop("matures"),
    "months": gettext_noop("months"),
    "name": gettext_noop("name"),
    "of": gettext_noop("of"),
    "opening": gettext_noop("opening"),
    "original_principal": gettext_noop("original principal"),
    "owners": gettext_noop("owners"),
    "owners_explained": gettext_noop("owners explained"),
    "paid": gettext_noop("paid"),
    "paper": gettext_noop("paper"),
    "payer": gettext_noop("payer"),
    "payment": gettext_noop("payment"),
    "prepayment_privilege": gettext_noop("prepayment privilege"),
    "prime": gettext_noop("prime"),
    "principal": gettext_noop("principal"),
    "proceeds": gettext_noop("proceeds"),
    "province": gettext_noop("province"),
    "rate": gettext_noop("rate"),
    "rate_annual": gettext_noop("yearly rate"),
    "reborrow": gettext_noop("re-borrowing"),
    "refund": gettext_noop("refund"),
    "refund_month": gettext_noop("refund month"),
    "registered_limit": gettext_noop("registered limit"),
    "renewals": gettext_noop("planned renewals"),
    "revolving_cap": gettext_noop("revolving cap"),
    "source": gettext_noop("from"),
    "splits": gettext_noop("use"),
    "spread": gettext_noop("spread to prime"),
    "starts": gettext_noop("starts"),
    "to": gettext_noop("to"),
    "use": gettext_noop("use"),
    "value": gettext_noop("value"),
    "valued_on": gettext_noop("valued on"),
}

TO_DATE_WORDS = gettext_noop("Deductible interest, year to date")
