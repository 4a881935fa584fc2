"""Schedules 3, 6, 7 and 13: where each draw went, capital returned, sales, owners."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from ledger.core.account_state import AccountState
from ledger.core.facts import Fact, household_facts
from ledger.core.trace_view_draw import draw_life
from planning.core.money import round_half_up
from reports.packets.annual_debt import ADVISOR, LENDER
from reports.packets.annual_tables import YearBook, money, schedule, table
from reports.packets.words import USE_WORDS, gettext_noop

DEALER = gettext_noop("The dealer or fund company")
YES, NO = gettext_noop("Yes"), gettext_noop("No")
DATE = ("date", gettext_noop("Date"), "date")
ACCOUNT = ("account", gettext_noop("Account"), "text")
ENTRY = ("entry", gettext_noop("Entry"), "text")
AMOUNT = ("amount", gettext_noop("Amount"), "money")


def purchases(book: YearBook) -> dict[str, Any]:
    """Schedule 3: each draw up to the year-end, its use, purchase, paper, what is left."""
    rows: list[list[object]] = []
    for one in book.traced.draws:
        life = draw_life(book.household, book.traced, book.shares, one.id)
        assert life is not None
        left = sum(held.left for held in life.holdings)
        start = [one.on.isoformat(), one.line, one.id]
        for place, claim in enumerate(life.claims):
            bought = claim.purchases[0] if claim.purchases else None
            papers = ", ".join(paper.ref for paper in claim.papers)
            moved: list[object] = [bought.on.isoformat(), bought.id] if bought else ["", ""]
            unlinked = claim.classes[1] + claim.classes[2]
            now = left if place == 0 else 0
            amounts = [money(cents) for cents in (claim.classes[0], unlinked, now)]
            first = [*start, money(claim.amount), USE_WORDS[claim.use], claim.to]
            rows.append([*first, *moved, papers, *amounts])
        rest = one.amount - sum(claim.amount for claim in life.claims)
        if rest > 0:
            whole = money(left if not life.claims else 0)
            bare: list[object] = [*start, money(rest), USE_WORDS["none"], "", "", "", ""]
            eligible = one.classes[0] - sum(claim.classes[0] for claim in life.claims)
            rows.append([*bare, money(eligible), money(rest - eligible), whole])
    columns = [
        DATE,
        ("line", gettext_noop("Line"), "text"),
        ("draw", gettext_noop("Draw"), "text"),
        AMOUNT,
        ("use", gettext_noop("Use"), "word"),
        ("to", gettext_noop("Into"), "text"),
        ("bought", gettext_noop("Transfer"), "date"),
        ("purchase", gettext_noop("Its entry"), "text"),
        ("paper", gettext_noop("Evidence"), "text"),
        ("eligible", gettext_noop("Eligible when drawn"), "money"),
        ("unlinked", gettext_noop("Unlinked"), "money"),
        ("left", gettext_noop("Eligible now"), "money"),
    ]
    sums = ["amount", "eligible", "unlinked", "left"]
    title = gettext_noop("Every draw to the year-end")
    note = gettext_noop("An unlinked amount is set in red: it earns no deduction.")
    return schedule(
        3,
        gettext_noop("Draw to purchase"),
        notes=[note],
        tables=[table("draws", title, columns, rows, sums=sums)],
        missing=[(gettext_noop("Trade dates, units and costs: the trade confirmations"), DEALER)],
    )


@dataclass(frozen=True, slots=True)
class Outgo:
    """A withdrawal or transfer in kind, with its capital and proceeds parts, debt and f's D."""

    fact: Fact
    capital: int
    proceeds: int
    debt: int


def outgoes(book: YearBook) -> Iterator[Outgo]:
    """Everything that left an account up to the year-end, measured just before it left."""
    home = book.household
    accounts = {
        one.ref: AccountState(one.ref, home.statements_of(one.ref)) for one in home.investments
    }
    facts = [one for one in household_facts(home) if one.on <= book.traced.as_of]
    order = {fact.entry.id: place for place, fact in enumerate(facts)}
    for fact in facts:
        account = accounts.get(fact.account)
        if fact.of_line or account is None:
            continue
        entry = fact.entry
        if entry.kind == "distribution":
            account.receive(entry)
        if entry.kind not in ("withdrawal", "transfer-in-kind"):
            continue
        linked = 0
        for move in book.shares.moves:
            if order[move.id] >= order[entry.id]:
                break
            gone = -move.cents if move.kind == "relink" else move.cents
            linked += gone if move.target == fact.account else 0
            linked += move.cents if move.to == fact.account else 0
        if entry.kind == "withdrawal":
            capital, proceeds = account.pay_out(entry)
        else:
            capital, proceeds = 0, entry.amount_cents
        share = account.cost_fraction(entry, proceeds, fact.statement) if proceeds else 0
        yield Outgo(fact, capital, proceeds, round_half_up(linked * share))


def capital_returned(book: YearBook) -> dict[str, Any]:
    """Schedule 6: returns of capital received and withdrawn, and what that moved."""
    moved = {one.id: one.moved for one in book.traced.leaks if one.rule == "capital"}
    received = [
        [one.on.isoformat(), one.account, one.entry.id, money(one.entry.amount_cents)]
        for one in household_facts(book.household)
        if one.entry.kind == "distribution"
        and one.entry.of == "return_of_capital"
        and book.within(one.on)
    ]
    out = [
        [
            *(one.fact.on.isoformat(), one.fact.account, one.fact.entry.id),
            *(one.fact.entry.to or "", money(one.capital), money(moved.get(one.fact.entry.id, 0))),
        ]
        for one in outgoes(book)
        if one.capital and book.within(one.fact.on)
    ]
    to = ("to", gettext_noop("Destination"), "text")
    became = ("moved", gettext_noop("Became ineligible"), "money")
    return schedule(
        6,
        gettext_noop("Return of capital"),
        tables=[
            table(
                "received",
                gettext_noop("Return of capital received"),
                [DATE, ACCOUNT, ENTRY, AMOUNT],
                received,
                sums=["amount"],
            ),
            table(
                "withdrawn",
                gettext_noop("Return of capital taken out"),
                [DATE, ACCOUNT, ENTRY, to, AMOUNT, became],
                out,
                sums=["amount", "moved"],
            ),
        ],
        missing=[(gettext_noop("Slips with box 42, and corrections of earlier years"), DEALER)],
    )


def sales(book: YearBook) -> dict[str, Any]:
    """Schedule 7: proceeds and property that left, the rule's figure and that of ITA 20.1."""
    moved = {one.id: one.moved for one in book.traced.leaks if one.rule != "capital"}
    rows: list[list[object]] = []
    for one in outgoes(book):
        entry = one.fact.entry
        if not one.proceeds or not book.within(one.fact.on):
            continue
        whole = max(entry.proceeds_cents or one.proceeds, one.proceeds)
        cents = moved.get(entry.id, 0)
        gone, deemed = cents, 0
        if entry.kind == "withdrawal" and whole < one.debt:
            gone, deemed = (min(one.proceeds, one.debt) if cents else 0), one.debt - whole
        amounts = [money(part) for part in (one.proceeds, whole, one.debt, cents, gone, deemed)]
        rows.append([one.fact.on.isoformat(), one.fact.account, entry.id, entry.to or "", *amounts])
    followed = [
        [one.on.isoformat(), one.source, one.id, one.to, money(one.cents)]
        for one in book.traced.relinks
        if book.within(one.on)
    ]
    to = ("to", gettext_noop("Destination"), "text")
    columns = [
        DATE,
        ACCOUNT,
        ENTRY,
        to,
        AMOUNT,
        ("proceeds", gettext_noop("Proceeds of the sale"), "money"),
        ("debt", gettext_noop("Debt of what was sold"), "money"),
        ("moved", gettext_noop("Became ineligible"), "money"),
        ("gone", gettext_noop("The same under ITA 20.1"), "money"),
        ("deemed", gettext_noop("Deemed still used, ITA 20.1"), "money"),
    ]
    return schedule(
        7,
        gettext_noop("Sales and replacements"),
        notes=[
            gettext_noop(
                "The claim uses the column Became ineligible; where ITA 20.1 gives another "
                "figure, the accountant decides."
            )
        ],
        tables=[
            table("left", gettext_noop("Proceeds and property that left"), columns, rows),
            table(
                "followed",
                gettext_noop("Debt that followed into another account"),
                [DATE, ACCOUNT, ENTRY, to, AMOUNT],
                followed,
                sums=["amount"],
            ),
        ],
        missing=[(gettext_noop("Dated choice of what each replacement is linked to"), ADVISOR)],
    )


def owners(book: YearBook) -> dict[str, Any]:
    """Schedule 13: borrowers, payer, claimant and owners of the accounts, and if they agree."""
    names = {one.ref: one.name for one in book.household.members}
    rows: list[list[object]] = []
    for line in book.household.lines:
        targets = book.traced.lines[line.ref].targets if line.ref in book.traced.lines else {}
        for one in book.household.investments:
            linked = targets.get(one.ref, 0)
            if not linked:
                continue
            named = (line.borrowers, (line.payer,), (line.claimant,), one.owners)
            sets = [frozenset(who for who in some if who) for some in named]
            agree = len({some for some in sets if some}) <= 1
            said = [", ".join(names.get(who, who) for who in sorted(some)) for some in sets]
            end = [money(linked), YES if agree else NO, line.owners_explained or ""]
            rows.append([line.ref, one.ref, *said, *end])
    columns = [
        ("line", gettext_noop("Line"), "text"),
        ACCOUNT,
        ("borrowers", gettext_noop("Borrowers"), "text"),
        ("payer", gettext_noop("Paid by"), "text"),
        ("claimant", gettext_noop("Claimed by"), "text"),
        ("owners", gettext_noop("Owned by"), "text"),
        ("linked", gettext_noop("Debt in it"), "money"),
        ("agree", gettext_noop("Agree"), "word"),
        ("explained", gettext_noop("Explanation on file"), "text"),
    ]
    return schedule(
        13,
        gettext_noop("Who borrowed, who owns"),
        tables=[table("owners", gettext_noop("Owners by account"), columns, rows, sums=["linked"])],
        missing=[
            (gettext_noop("Spousal loan note and proof of interest within 30 days"), ADVISOR),
            (gettext_noop("Obligors and guarantors named in the line agreement"), LENDER),
        ],
    )
