"""One draw's whole life: claim, paper, purchase, what took it down, what it earned.

Everything is read from the trace and its shares; the sums tie: the steps lead
to what is left, and the interest is deducted by year or still unpaid.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta

from ledger.core.facts import household_facts
from ledger.core.support import SUPPORT_DAYS, support
from ledger.core.trace_types import Classes, DrawTrace, Trace
from ledger.core.trace_view_shares import Shares
from ledger.core.trace_view_year import deducted
from planning.core.types import Entry, Evidence, Household

LEAK_RULES = {"capital": "capital", "proceeds": "proceeds", "registered": "in-kind"}


@dataclass(frozen=True, slots=True)
class Purchase:
    """An entry of an investment account that used the money."""

    id: str
    on: date
    account: str
    kind: str
    amount: int


@dataclass(frozen=True, slots=True)
class Claim:
    """One split of a draw: what it was claimed for, how it was classed, what shows it.

    `rule` names the rule that classed it (see `claim_rule`).
    """

    use: str
    to: str
    amount: int
    classes: Classes
    papers: tuple[Evidence, ...]
    purchases: tuple[Purchase, ...]
    rule: str


@dataclass(frozen=True, slots=True)
class LifeStep:
    """What an entry did to the draw's eligible principal: signed cents, what is left after.

    `to` is the account that money followed into; a move between accounts
    leaves what is left as it is.
    """

    on: date
    id: str
    kind: str
    target: str
    to: str
    cents: int
    left: int
    rule: str


@dataclass(frozen=True, slots=True)
class YearShare:
    """What a calendar year's deduction has from one source, in cents."""

    year: int
    cents: int
    compound: int


@dataclass(frozen=True, slots=True)
class Holding:
    """Where the draw's principal stands now, and the account around it, in cents.

    `linked` and `own` are all borrowed and own money in the account; `value` is
    the latest statement's, None without one or for a use that is no account.
    """

    target: str
    left: int
    linked: int
    own: int
    value: int | None
    valued_on: date | None


@dataclass(frozen=True, slots=True)
class DrawLife:
    """A draw from its posting to the years it is deducted in.

    `posted` is the eligible interest ever posted on it; `years` what of it was
    deducted; `waiting` the rest: unpaid, or not deducted by the method.
    """

    draw: DrawTrace
    claims: tuple[Claim, ...]
    unclaimed: int
    steps: tuple[LifeStep, ...]
    holdings: tuple[Holding, ...]
    years: tuple[YearShare, ...]
    posted: int
    waiting: int


def draw_life(household: Household, traced: Trace, shares: Shares, draw: str) -> DrawLife | None:
    """The life of a draw, fee, opening or positive adjustment by its entry id; None without one."""
    found = next((one for one in traced.draws if one.id == draw), None)
    if found is None:
        return None
    steps = _steps(traced, shares, draw)
    holdings = _holdings(household, traced, shares, draw)
    assert (steps[-1].left if steps else 0) == sum(one.left for one in holdings)
    years = years_of(household, shares, draw=draw)
    posted = sum(part.cents for one in shares.postings for part in one.shares if part.draw == draw)
    return DrawLife(
        draw=found,
        claims=_claims(household, traced, found),
        unclaimed=max(0, found.amount - sum(one.amount for one in found.splits)),
        steps=steps,
        holdings=holdings,
        years=years,
        posted=posted,
        waiting=posted - sum(one.cents for one in years),
    )


def years_of(
    household: Household,
    shares: Shares,
    *,
    draw: str | None = None,
    target: str | None = None,
    posting: str | None = None,
    paid_by: str | None = None,
) -> tuple[YearShare, ...]:
    """What each calendar year's deduction has from a draw, a posting or a paying entry."""
    sums: dict[int, list[int]] = defaultdict(lambda: [0, 0])
    for one in deducted(household, shares):
        if posting not in (None, one.posting) or paid_by not in (None, one.paid_by):
            continue
        for part in one.shares:
            if draw in (None, part.draw) and target in (None, part.target):
                sums[one.on.year][0] += part.cents
                sums[one.on.year][1] += part.compound
    return tuple(YearShare(year, *sums[year]) for year in sorted(sums))


def claim_rule(use: str, classes: Classes, *, registered: bool) -> str:
    """The rule that classed a split, by name."""
    if registered:
        return "registered"
    if use in ("line-interest", "refinance"):
        return use
    if classes[0]:
        return "use"
    return "support" if classes[1] else "ineligible"


def _claims(household: Household, traced: Trace, draw: DrawTrace) -> tuple[Claim, ...]:
    facts = household_facts(household)
    known = support(household, facts, traced.as_of)
    entries = {fact.entry.id: (fact.account, fact.entry) for fact in facts if not fact.of_line}
    by_split = {key: entry for entry, key in known.used.items()}
    listed = next((one.splits for one in household.uses if one.draw == draw.id), ())
    kinds = {one.ref: one.kind for one in household.investments}
    found: list[Claim] = []
    for number, split in enumerate(draw.splits):
        papers = listed[number].evidence if number < len(listed) else ()
        kind = kinds.get(split.to or "", "non-registered")
        registered = split.use == "registered-plan" or kind != "non-registered"
        bought = by_split.get((draw.id, number))
        found.append(
            Claim(
                split.use,
                split.to or "",
                split.amount,
                split.classes,
                tuple(one for one in papers if one.on is None or one.on <= traced.as_of),
                () if bought is None else _purchases(household, *entries[bought], traced.as_of),
                claim_rule(split.use, split.classes, registered=registered),
            )
        )
    return tuple(found)


def _purchases(
    household: Household, account: str, contribution: Entry, as_of: date
) -> tuple[Purchase, ...]:
    """The contribution, and what the account bought in the days after it."""
    latest = min(as_of, contribution.date + timedelta(days=SUPPORT_DAYS))
    bought = [
        one
        for statement in household.statements_of(account)
        for one in statement.entries
        if one.kind == "buy" and contribution.date <= one.date <= latest
    ]
    return tuple(
        Purchase(one.id, one.date, account, one.kind, one.amount_cents)
        for one in (contribution, *bought)
    )


def _steps(traced: Trace, shares: Shares, draw: str) -> tuple[LifeStep, ...]:
    rules = {one.id: LEAK_RULES[one.rule] for one in traced.leaks}
    left = 0
    found: list[LifeStep] = []
    for move in shares.moves:
        if move.draw != draw:
            continue
        moved = move.kind == "relink"
        left += 0 if moved else move.cents
        if moved:
            rule = "relink"
        elif move.kind == "reclass":
            rule = rules[move.id]
        else:
            rule = "use" if move.id == draw else "repayment"
        found.append(
            LifeStep(move.on, move.id, move.kind, move.target, move.to, move.cents, left, rule)
        )
    return tuple(found)


def _holdings(
    household: Household, traced: Trace, shares: Shares, draw: str
) -> tuple[Holding, ...]:
    left: dict[str, int] = defaultdict(int)
    for sources in shares.principal.values():
        for (source, target), cents in sources.items():
            if source == draw:
                left[target] += cents
    found: list[Holding] = []
    for target, cents in left.items():
        ended = [one for one in household.statements_of(target) if one.ends <= traced.as_of]
        last = ended[-1] if ended else None
        value = None
        if last is not None:
            value = last.closing_cents if last.value_cents is None else last.value_cents
        linked = sum(line.targets.get(target, 0) for line in traced.lines.values())
        own = traced.own.get(target, 0)
        found.append(Holding(target, cents, linked, own, value, last.ends if last else None))
    return tuple(found)
