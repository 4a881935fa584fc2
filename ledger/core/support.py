"""Which draws are supported: evidence on file, or the purchase that used the money.

An `income-investment` split is supported by evidence or by a contribution of
exactly its amount to its account, dated 0 to 5 days after the draw and naming
the draw or nobody; each contribution supports one split. Draws are matched in
order of facts and splits in listing order, each taking the earliest
contribution still free, one that names the draw before one that names nobody.
Other uses need evidence. A split keeps its contribution even when evidence
supports it too, since that money is then not the household's own.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import takewhile

from ledger.core.facts import Fact
from planning.core.types import Household, Split

SUPPORT_DAYS = 5
SplitKey = tuple[str, int]


@dataclass(frozen=True, slots=True)
class Support:
    """What is known by a date: evidence and contributions by split (draw id, number)."""

    by_split: dict[SplitKey, str]
    used: dict[str, SplitKey]

    def until(self, day: date, dates: dict[str, date]) -> tuple[frozenset[object], ...]:
        """The decisions about facts dated on or before a day, for comparison."""
        splits = frozenset(
            (key, paper) for key, paper in self.by_split.items() if dates[key[0]] <= day
        )
        return splits, frozenset(
            entry
            for entry, key in self.used.items()
            if dates[entry] <= day and dates[key[0]] <= day
        )


def support(household: Household, facts: Iterable[Fact], as_of: date) -> Support:
    """The support of every split, from facts dated up to `as_of` and papers known by then."""
    seen = [fact for fact in facts if fact.on <= as_of]
    uses = {one.draw: one.splits for one in household.uses}
    kinds = {one.ref: one.kind for one in household.investments}
    free: dict[tuple[str, int], deque[Fact]] = defaultdict(deque)
    for fact in seen:
        if not fact.of_line and fact.entry.kind == "contribution":
            free[fact.account, fact.amount].append(fact)
    by_split: dict[SplitKey, str] = {}
    used: dict[str, SplitKey] = {}
    for fact in seen:
        draw = fact.entry
        if not fact.of_line or draw.kind in ("repayment", "interest"):
            continue
        for number, split in enumerate(uses.get(draw.id, ())):
            paper = next(
                (one.ref for one in split.evidence if one.on is None or one.on <= as_of), None
            )
            if paper is not None:
                by_split[draw.id, number] = paper
            # An opening is supported by evidence alone.
            if draw.kind == "opening" or kinds.get(split.to or "") != "non-registered":
                continue
            match = _matching(fact, split, free)
            if match is not None:
                used[match] = (draw.id, number)
                by_split.setdefault((draw.id, number), match)
    return Support(by_split, used)


def _matching(fact: Fact, split: Split, free: dict[tuple[str, int], deque[Fact]]) -> str | None:
    """Take the contribution that supports a split off the free ones; its entry id."""
    if split.use != "income-investment":
        return None
    waiting = free[split.to or "", split.amount_cents]
    latest = fact.on + timedelta(days=SUPPORT_DAYS)
    while waiting and waiting[0].on < fact.on:
        # Draws come in date order: no later draw can use it either.
        waiting.popleft()
    fits = list(takewhile(lambda one: one.on <= latest, waiting))
    for source in (fact.entry.id, None):
        for one in fits:
            if one.entry.source == source:
                waiting.remove(one)
                return one.entry.id
    return None
