"""Schedules 8 to 12, 14 and 15, and the index of evidence."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from typing import Any

from ledger.core.facts import household_facts
from planning.core.household_file import household_to_json
from reports.packets.annual_debt import ACCOUNTANT, ADVISOR, LENDER
from reports.packets.annual_tables import YearBook, money, schedule, table
from reports.packets.annual_use import ACCOUNT, AMOUNT, DATE, DEALER, ENTRY
from reports.packets.finding_words import finding_words
from reports.packets.findings import counted, open_findings
from reports.packets.values import digest_of
from reports.packets.words import SEVERITY_WORDS, gettext_noop

KIND_WORDS = {
    "eligible_dividend": gettext_noop("Eligible dividends"),
    "other_dividend": gettext_noop("Other dividends"),
    "interest": gettext_noop("Interest"),
    "foreign": gettext_noop("Foreign income"),
    "capital_gain": gettext_noop("Capital gains distributed"),
    "return_of_capital": gettext_noop("Return of capital"),
}
METHOD_WORDS = {
    "paid": gettext_noop("Interest is deducted when paid, in total never more than was posted"),
    "payable": gettext_noop("Simple interest is deducted when posted, compound when paid"),
}
CAPITALISED_WORDS = {
    "compounding": gettext_noop("Interest added to the balance is unpaid until repaid"),
    "paid-by-advance": gettext_noop("Interest added to the balance is paid by an advance"),
}


def costs() -> dict[str, Any]:
    """Schedule 8: financing costs, which are not on file."""
    return schedule(
        8,
        gettext_noop("Financing costs (ITA 20(1)(e))"),
        notes=[
            gettext_noop("None is on file: no claim is computed. Rule: 20% a year, days over 365.")
        ],
        missing=[(gettext_noop("Legal, appraisal and set-up invoices with their dates"), LENDER)],
    )


def fees(book: YearBook) -> dict[str, Any]:
    """Schedule 9: fees found in the statements; none is claimed by the packet."""
    rows = [
        [one.on.isoformat(), one.account, one.entry.id, money(one.entry.amount_cents)]
        for one in household_facts(book.household)
        if one.entry.kind == "fee" and book.within(one.on)
    ]
    title = gettext_noop("Fees on the statements")
    columns = [DATE, ACCOUNT, ENTRY, AMOUNT]
    return schedule(
        9,
        gettext_noop("Fees (ITA 20(1)(bb), (e.1))"),
        notes=[
            gettext_noop("Not part of the claim: their deductibility is the accountant's call.")
        ],
        tables=[table("fees", title, columns, rows, sums=["amount"])],
        missing=[(gettext_noop("Fee invoices, registered and other accounts apart"), ADVISOR)],
    )


def income(book: YearBook) -> dict[str, Any]:
    """Schedule 10: distributions of non-registered accounts by account and kind."""
    plain = {one.ref for one in book.household.investments if one.kind == "non-registered"}
    sums: dict[tuple[str, str], int] = defaultdict(int)
    for one in household_facts(book.household):
        if one.entry.kind == "distribution" and one.account in plain and book.within(one.on):
            sums[one.account, one.entry.of or "interest"] += one.entry.amount_cents
    rows = [[account, KIND_WORDS[kind], money(cents)] for (account, kind), cents in sums.items()]
    kind = ("kind", gettext_noop("Kind"), "word")
    title = gettext_noop("Distributions by account and kind")
    return schedule(
        10,
        gettext_noop("Income by character"),
        tables=[table("income", title, [ACCOUNT, kind, AMOUNT], rows, sums=["amount"])],
        missing=[(gettext_noop("T3, T5, T5008, T5013 and RL slips to reconcile with"), DEALER)],
    )


def cost_base() -> dict[str, Any]:
    """Schedule 11: adjusted cost base; statements on file carry no units."""
    return schedule(
        11,
        gettext_noop("Adjusted cost base, superficial losses"),
        notes=[gettext_noop("Statements on file carry no units, so no cost base is stated.")],
        missing=[
            (gettext_noop("Units, costs and trades of the year, all affiliated accounts"), DEALER)
        ],
    )


def minimum_tax(book: YearBook) -> dict[str, Any]:
    """Schedule 12: what the file knows of minimum tax and foreign income."""
    rows = [
        [str(one["key"]), str(one["dollars"])]
        for one in book.report.get("drift") or ()
        if one["code"] == "amt-exposure" and one.get("open")
    ]
    columns = [("key", gettext_noop("Subject"), "text"), AMOUNT]
    title = gettext_noop("Minimum tax screen, open at year-end")
    return schedule(
        12,
        gettext_noop("Minimum tax and foreign credit"),
        notes=[gettext_noop("Interest also lowers foreign income when its credit is limited.")],
        tables=[table("screen", title, columns, rows)],
        missing=[(gettext_noop("Foreign tax withheld, and the rest of the return"), ACCOUNTANT)],
    )


def exceptions(book: YearBook, as_of: date) -> dict[str, Any]:
    """Schedule 14: findings open at the year-end, most urgent first, with dollars."""
    found = open_findings(book.report, as_of)
    adding = {(one["code"], one["key"]) for one in counted(found)}
    rows = []
    for one in found:
        adds = (one["code"], one["key"]) in adding
        word, title = SEVERITY_WORDS[one["severity"]][0], finding_words(one["code"]).title
        added = one["dollars"] if adds else "0.00"
        rows.append([word, title, one["key"], one["first"], one["dollars"], added])
    columns = [
        ("severity", gettext_noop("Severity"), "word"),
        ("finding", gettext_noop("Exception"), "word"),
        ("key", gettext_noop("Subject"), "text"),
        ("since", gettext_noop("Since"), "month"),
        ("dollars", gettext_noop("Dollars"), "money"),
        ("counted", gettext_noop("Counted once"), "money"),
    ]
    title = gettext_noop("Open exceptions")
    return schedule(
        14,
        gettext_noop("Exceptions open at year-end"),
        tables=[table("exceptions", title, columns, rows, sums=["counted"])],
        missing=[(gettext_noop("Decisions on exceptions, with the name of who decided"), ADVISOR)],
    )


def method(book: YearBook) -> dict[str, Any]:
    """Schedule 15: how the figures were made."""
    facility = book.household.facility
    basis = {"365": gettext_noop("365 days"), "actual": gettext_noop("Days of the year")}
    by_words = [
        [gettext_noop("Interest method"), METHOD_WORDS[facility.interest_method]],
        [
            gettext_noop("Interest added to the balance"),
            CAPITALISED_WORDS[facility.capitalised_interest],
        ],
        [gettext_noop("Rounding"), gettext_noop("Half up to the cent at each posting")],
        [
            gettext_noop("Repayments"),
            gettext_noop("Unpaid interest first, then all uses in proportion"),
        ],
    ]
    by_words += [[gettext_noop("Day count"), basis[one.day_basis]] for one in book.household.lines]
    data = digest_of(household_to_json(book.household))
    texts = [
        [gettext_noop("Software"), str(book.report.get("engine") or "")],
        [gettext_noop("Data, SHA-256"), data],
    ]
    columns = [
        ("subject", gettext_noop("Subject"), "word"),
        ("said", gettext_noop("Method"), "word"),
    ]
    plain = [columns[0], ("value", gettext_noop("Value"), "text")]
    return schedule(
        15,
        gettext_noop("Method statement"),
        tables=[
            table("method", gettext_noop("Method"), columns, by_words),
            table("inputs", gettext_noop("Software and data"), plain, texts),
        ],
    )


def evidence(book: YearBook, papers: Sequence[dict[str, str]]) -> dict[str, Any]:
    """The index of evidence (number 16): papers on file with SHA-256, and those only named."""
    held = {one["ref"] for one in papers}
    rows: list[list[object]] = [
        [one["ref"], one["draw"], one["name"], one["kind"], one["sha256"]] for one in papers
    ]
    known = {one.id for one in book.traced.draws}
    for use in (one for one in book.household.uses if one.draw in known):
        for paper in (paper for split in use.splits for paper in split.evidence):
            if paper.ref not in held:
                held.add(paper.ref)
                rows.append([paper.ref, use.draw, "", "", ""])
    columns = [
        ("ref", gettext_noop("Evidence"), "text"),
        ("draw", gettext_noop("Draw"), "text"),
        ("file", gettext_noop("File"), "text"),
        ("format", gettext_noop("Format"), "text"),
        ("sha256", "SHA-256", "text"),
    ]
    return schedule(
        16,
        gettext_noop("Index of evidence"),
        notes=[
            gettext_noop(
                "A row without a SHA-256 is named in the file; its paper is kept elsewhere."
            )
        ],
        tables=[table("evidence", gettext_noop("Papers"), columns, rows)],
    )
