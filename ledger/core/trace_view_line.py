"""A statement line forward: what one entry did, and which year's deduction it ends up in."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from ledger.core.facts import household_facts
from ledger.core.support import support
from ledger.core.trace_types import InterestPayment, Leak, PostingTrace, Relink, Trace, TraceRow
from ledger.core.trace_view_draw import YearShare, years_of
from ledger.core.trace_view_shares import Move, Share, Shares
from planning.core.types import Entry, Household, Statement

AccountKind = Literal["line", "mortgage", "investment"]


@dataclass(frozen=True, slots=True)
class EntryFate:
    """One entry and everything that came of it. Amounts in cents.

    `seen` is False when it is dated after the trace: nothing has come of it yet.
    `implied` marks an opening or a difference that no statement line shows.
    `posting` and `shares` belong to an interest entry, `payments` to it too
    (what paid it) or to a repayment (what it paid), `moves` to whatever changed
    a draw's eligible principal, `draw` and `use` to a contribution that supports one.
    `years` is what each year's deduction has from it.
    """

    entry: Entry
    account: str
    account_kind: AccountKind
    statement: Statement
    implied: bool
    seen: bool
    rows: tuple[TraceRow, ...] = ()
    posting: PostingTrace | None = None
    shares: tuple[Share, ...] = ()
    payments: tuple[InterestPayment, ...] = ()
    moves: tuple[Move, ...] = ()
    leaks: tuple[Leak, ...] = ()
    relinks: tuple[Relink, ...] = ()
    draw: str = ""
    use: str = ""
    years: tuple[YearShare, ...] = ()


def entry_fate(
    household: Household, traced: Trace, shares: Shares, entry_id: str
) -> EntryFate | None:
    """What came of an entry of any account, by its id in the household; None without one."""
    found = _found(household, traced, entry_id)
    if found is None or not found.seen or found.account_kind == "mortgage":
        return found
    fate = replace(
        found,
        rows=tuple(
            row for line in traced.lines.values() for row in line.rows if row.id == entry_id
        ),
        moves=tuple(one for one in shares.moves if one.id == entry_id),
        leaks=tuple(one for one in traced.leaks if one.id == entry_id),
        relinks=tuple(one for one in traced.relinks if one.id == entry_id),
    )
    if found.account_kind == "investment":
        return _of_account(household, traced, shares, fate)
    if found.entry.kind == "interest":
        return _of_interest(household, traced, shares, fate)
    paid = tuple(one for one in traced.payments if one.id == entry_id)
    if paid or found.entry.kind == "repayment":
        return replace(fate, payments=paid, years=years_of(household, shares, paid_by=entry_id))
    return replace(fate, years=years_of(household, shares, draw=entry_id))


def _found(household: Household, traced: Trace, entry_id: str) -> EntryFate | None:
    for fact in household_facts(household):
        if fact.entry.id == entry_id:
            return EntryFate(
                fact.entry,
                fact.account,
                "line" if fact.of_line else "investment",
                fact.statement,
                implied=fact.entry not in fact.statement.entries,
                seen=fact.on <= traced.as_of,
            )
    for mortgage in household.mortgages:
        for statement in household.statements_of(mortgage.ref):
            for one in statement.entries:
                if one.id == entry_id:
                    seen = one.date <= traced.as_of
                    return EntryFate(
                        one, mortgage.ref, "mortgage", statement, implied=False, seen=seen
                    )
    return None


def _of_interest(household: Household, traced: Trace, shares: Shares, fate: EntryFate) -> EntryFate:
    posted = next(one for one in shares.postings if one.posting.id == fate.entry.id)
    return replace(
        fate,
        posting=posted.posting,
        shares=posted.shares,
        payments=tuple(one for one in traced.payments if one.posting == fate.entry.id),
        years=years_of(household, shares, posting=fate.entry.id),
    )


def _of_account(household: Household, traced: Trace, shares: Shares, fate: EntryFate) -> EntryFate:
    """A contribution that supports a draw leads on to what that draw's interest gave."""
    known = support(household, household_facts(household), traced.as_of)
    used = known.used.get(fate.entry.id)
    if used is None:
        return fate
    draw, number = used
    splits = next(one.splits for one in household.uses if one.draw == draw)
    years = years_of(household, shares, draw=draw, target=fate.account)
    return replace(fate, draw=draw, use=splits[number].use, years=years)
