"""A household's books as plain-text double entry, readable by hledger and its kin.

An independent check and an exit door: every draw, posting, repayment and move
of use is a balanced transaction, and after each entry of a line the journal
asserts the line's balance, so another program can prove the books.

Accounts (amounts owed are negative, as in any balance sheet):

    liabilities:line:LINE:eligible:TARGET      principal by use; also unsupported, ineligible
    liabilities:line:LINE:interest:CLASS       interest posted and unpaid
    liabilities:line:LINE:credit               the household's own money, after an overpayment
    liabilities:mortgage:MORTGAGE
    assets:investment:ACCOUNT                  cash put in and taken out, not market value
    assets:bank                                what passes through the household's hands
    equity:own money, equity:opening, equity:unexplained
    income:KIND:ACCOUNT, expenses:interest:LINE, expenses:mortgage:MORTGAGE, expenses:fees:ACCOUNT
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from ledger.core.facts import Fact, household_facts
from ledger.core.support import support
from ledger.core.trace_types import Trace, TraceRow, less
from planning.core.money import text_from_cents
from planning.core.types import CLASSES, Entry, Household, Statement

COMMODITY = "CAD"
BANK = "assets:bank"


@dataclass(frozen=True, slots=True)
class Posting:
    """Cents on an account; `total` asserts the balance of the account and all below it."""

    account: str
    cents: int
    total: int | None = None


@dataclass(frozen=True, slots=True)
class Transaction:
    """A balanced transaction."""

    on: date
    text: str
    postings: tuple[Posting, ...]

    def written(self) -> str:
        """The transaction in journal form. Asserts that it balances."""
        assert sum(one.cents for one in self.postings) == 0, self.text
        rows = [f"{self.on} {_plain(self.text)}"]
        for one in self.postings:
            row = f"    {one.account}  {_money(one.cents)}"
            rows.append(row if one.total is None else f"{row} =* {_money(one.total)}")
        return "\n".join(rows) + "\n"


def journal_text(household: Household, traced: Trace) -> str:
    """The household's books up to the trace's date as journal text, in date order.

    On one date the lines come first, then the mortgages, then the investment
    accounts. The same household and trace give the same bytes.
    """
    found = [
        *_line_transactions(household, traced),
        *_mortgage_transactions(household, traced.as_of),
        *_account_transactions(household, traced.as_of),
    ]
    found.sort(key=lambda one: one.on)
    head = f"; Household {household.ref}, books to {traced.as_of}, one line's use by class\n"
    return "\n".join([head, *(one.written() for one in found)])


# -- lines ----------------------------------------------------------------------


def _line_transactions(household: Household, traced: Trace) -> Iterator[Transaction]:
    """Rows of every line, each in its own order, and moves between accounts."""
    for ref in (one.ref for one in household.lines):
        balance = 0
        for row in traced.lines[ref].rows:
            yield _line_transaction(ref, row, row.balance - balance)
            balance = row.balance
    for move in traced.relinks:
        principal = f"liabilities:line:{move.line}:eligible"
        yield Transaction(
            move.on,
            f"use follows the money {move.id}",
            (
                Posting(f"{principal}:{move.source}", move.cents),
                Posting(f"{principal}:{move.to}", -move.cents),
            ),
        )


def _line_transaction(ref: str, row: TraceRow, raised: int) -> Transaction:
    """One row of a line; `raised` is how much it raised the balance."""
    line = f"liabilities:line:{ref}"
    parts: list[tuple[str, int]] = [(f"{line}:eligible:{to}", cents) for to, cents in row.targets]
    parts += list(
        zip((f"{line}:unsupported", f"{line}:ineligible"), row.principal[1:], strict=True)
    )
    unpaid = less(row.change, row.principal)
    parts += list(zip((f"{line}:interest:{name}" for name in CLASSES), unpaid, strict=True))
    parts.append((f"{line}:credit", raised - sum(row.change)))
    postings = [Posting(account, -cents) for account, cents in parts if cents]
    counter = {
        "interest": f"expenses:interest:{ref}",
        "fee": f"expenses:fees:{ref}",
        "opening": "equity:opening",
        "adjustment": "equity:unexplained",
    }.get(row.kind, BANK)
    if raised:
        postings.append(Posting(counter, raised))
    postings.append(Posting(line, 0, -row.balance))
    return Transaction(row.on, f"{row.kind} {row.id}", tuple(postings))


# -- mortgages ------------------------------------------------------------------


def _mortgage_transactions(household: Household, as_of: date) -> Iterator[Transaction]:
    for mortgage in household.mortgages:
        owed: int | None = None
        for statement in household.statements_of(mortgage.ref):
            if statement.starts > as_of:
                break
            account = f"liabilities:mortgage:{mortgage.ref}"
            change = statement.opening_cents - (owed or 0)
            against = "equity:opening" if owed is None else "equity:unexplained"
            if change:
                yield _owed_more(account, statement.starts, against, change)
            entries = sorted(statement.entries, key=lambda one: one.date)
            yield from (_mortgage_entry(account, one) for one in entries if one.date <= as_of)
            owed = statement.closing_cents
            if statement.ends <= as_of:
                yield _mortgage_closing(account, statement)


def _owed_more(account: str, on: date, against: str, cents: int) -> Transaction:
    return Transaction(on, against, (Posting(account, -cents), Posting(against, cents)))


def _principal(entry: Entry) -> int | None:
    """What an entry takes off the balance; None for a payment whose parts are not shown."""
    if entry.kind != "payment":
        return entry.amount_cents if entry.kind == "prepayment" else -entry.amount_cents
    if entry.principal_cents is not None:
        return entry.principal_cents
    if entry.interest_cents is not None:
        return entry.amount_cents - entry.interest_cents
    return None


def _mortgage_entry(account: str, entry: Entry) -> Transaction:
    principal = _principal(entry)
    taken = entry.amount_cents if principal is None else principal
    rest = {"payment": entry.amount_cents - taken, "charge": entry.amount_cents}.get(entry.kind, 0)
    cost = account.replace("liabilities:mortgage", "expenses:mortgage")
    postings = [Posting(account, taken), Posting(cost, rest), Posting(BANK, -taken - rest)]
    kept = tuple(one for one in postings if one.cents)
    return Transaction(entry.date, f"{entry.kind} {entry.id}", kept)


def _mortgage_closing(account: str, statement: Statement) -> Transaction:
    """Interest inside payments whose parts are not shown, and the statement's balance."""
    taken = [_principal(one) for one in statement.entries]
    hidden = None in taken
    sums = sum(
        one.amount_cents if part is None else part
        for one, part in zip(statement.entries, taken, strict=True)
    )
    missing = statement.closing_cents - (statement.opening_cents - sums)
    cost = account.replace("liabilities:mortgage", "expenses:mortgage")
    postings = [Posting(account, -missing, -statement.closing_cents)]
    if missing:
        postings.append(Posting(cost if hidden else "equity:unexplained", missing))
    return Transaction(statement.ends, "statement balance", tuple(postings))


# -- investment accounts ----------------------------------------------------------


def _account_transactions(household: Household, as_of: date) -> Iterator[Transaction]:
    facts = household_facts(household)
    used = support(household, facts, as_of).used
    kinds = {one.ref for one in household.investments}
    for fact in facts:
        if fact.of_line or fact.on > as_of:
            continue
        postings = _cash_flow(fact, kinds, supports=fact.entry.id in used)
        if postings and fact.amount:
            yield Transaction(fact.on, f"{fact.entry.kind} {fact.entry.id}", postings)


def _cash_flow(fact: Fact, accounts: set[str], *, supports: bool) -> tuple[Posting, ...]:
    """Cash and holdings in and out; buying and selling inside an account moves none."""
    entry, cents = fact.entry, fact.amount
    account = f"assets:investment:{fact.account}"
    if entry.kind == "contribution":
        own = entry.source == "own" or (entry.source is None and not supports)
        return Posting(account, cents), Posting("equity:own money" if own else BANK, -cents)
    if entry.kind == "distribution":
        return Posting(account, cents), Posting(f"income:{entry.of}:{fact.account}", -cents)
    if entry.kind == "withdrawal":
        # Money for another account shows up there as a contribution of its own.
        return Posting(account, -cents), Posting(BANK, cents)
    if entry.kind == "transfer-in-kind":
        to = f"assets:investment:{entry.to}" if entry.to in accounts else BANK
        return Posting(account, -cents), Posting(to, cents)
    if entry.kind == "fee":
        return Posting(account, -cents), Posting(f"expenses:fees:{fact.account}", cents)
    return ()


def _plain(text: str) -> str:
    return "".join(" " if one in ";|" or not one.isprintable() else one for one in text).strip()


def _money(cents: int) -> str:
    return f"{text_from_cents(cents)} {COMMODITY}"
