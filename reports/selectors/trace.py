"""The trace pages: a year's deduction, a draw's life, a statement line's fate.

Worked out from the facts on file through the last closed month, by the same
replay as the close; the close's own figure stands beside it when facts changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from ledger.core.deductions import deduction_years
from ledger.core.trace_types import Trace
from ledger.core.trace_view_draw import LEAK_RULES, draw_life
from ledger.core.trace_view_line import EntryFate, entry_fate
from ledger.core.trace_view_shares import Shares, shares_of
from ledger.core.trace_view_year import year_trace
from ledger.core.tracing import trace
from ledger.mapping import household_value
from planning.core.money import text_from_cents
from planning.core.months import last_day
from planning.core.types import Household
from reports.packets.words import CLASS_WORDS
from reports.selectors.stored import ClosedThrough, closed_through
from reports.trace_chart import Part, share, year_chart
from reports.trace_words import TARGET_WORDS

ACTION = "trace.view"


@dataclass(frozen=True, slots=True)
class _Traced:
    """A household's facts, how far it is closed, and the trace to the end of that month."""

    household: Household
    closed: ClosedThrough
    traced: Trace
    shares: Shares

    def head(self) -> dict[str, Any]:
        """What every trace page begins with."""
        return {
            "ref": self.household.ref,
            "name": self.household.name,
            "through": self.closed.month,
            "stale": self.closed.stale,
            "method": self.household.facility.interest_method,
        }


def _open(access: Any, ref: str, action: str = ACTION, year: int | None = None) -> _Traced | None:
    access.require(action)
    row = access.household(ref)
    if year is not None:
        access.require_year(row, year)
    closed = closed_through(row.pk)
    if closed is None:
        return None
    household = household_value(row)
    traced = trace(household, last_day(closed.month))
    return _Traced(household, closed, traced, shares_of(household, traced))


def trace_year_page(access: Any, ref: str, year: int) -> dict[str, Any] | None:
    """A calendar year's deduction by use, draw and posting; None for a year without one.

    An accountant sees a year they were granted, without the ways into other years.
    """
    found = _open(access, ref, "trace.year", year)
    if found is None:
        return None
    years = {
        one.year: one for one in deduction_years(found.household, found.traced, found.closed.month)
    }
    if year not in years:
        return None
    language = get_language() or "en"
    parts = year_trace(found.household, found.traced, found.shares, year)
    totals = years[year]
    linked = access.can(ACTION)
    assert parts.deductible == totals.deductible, "the parts left the deduction"
    bar = [Part(_target(one.target), one.cents, deducted=True) for one in parts.uses]
    bar += [
        Part(_(CLASS_WORDS["unsupported"]), totals.unsupported, deducted=False),
        Part(_(CLASS_WORDS["ineligible"]), totals.ineligible, deducted=False),
    ]
    closed = found.closed.deductions.get(str(year), {}).get("deductible")
    now = text_from_cents(totals.deductible)
    return found.head() | {
        "year": year,
        "linked": linked,
        "earlier": year - 1 if linked and year - 1 in years else None,
        "later": year + 1 if linked and year + 1 in years else None,
        "totals": totals,
        "chart": year_chart(year, bar, language),
        "uses": [
            {"part": one, "share": share(one.cents, totals.deductible, language)}
            for one in parts.uses
        ],
        "draws": [
            {"part": one, "share": share(one.cents, totals.deductible, language)}
            for one in parts.draws
        ],
        "interest": parts.interest,
        "rule": parts.method,
        "closed_deductible": closed if closed not in (None, now) else None,
    }


def _target(target: str) -> str:
    return _(TARGET_WORDS[target]) if target in TARGET_WORDS else target


def trace_draw_page(access: Any, ref: str, year: int, draw: str) -> dict[str, Any] | None:
    """One draw's whole life; None when the household has no such draw or year."""
    found = _open(access, ref)
    if found is None:
        return None
    life = draw_life(found.household, found.traced, found.shares, draw)
    years = [one.year for one in deduction_years(found.household, found.traced, found.closed.month)]
    if life is None or year not in years:
        return None
    return found.head() | {
        "year": year,
        "life": life,
        "deducted": sum(one.cents for one in life.years),
        "compound": sum(one.compound for one in life.years),
        "rule": found.household.facility.interest_method,
    }


def entry_page(access: Any, ref: str, entry: str) -> dict[str, Any] | None:
    """What came of one statement line; None when the household has no such entry."""
    found = _open(access, ref)
    if found is None:
        return None
    fate = entry_fate(found.household, found.traced, found.shares, entry)
    if fate is None:
        return None
    outcome, rule = _outcome(fate)
    drawn = {one.id for one in found.traced.draws}
    shown = [
        {"share": one, "is_draw": one.draw in drawn}
        for one in sorted(fate.shares, key=lambda one: (-one.cents, one.draw, one.target))
    ]
    return found.head() | {
        "fate": fate,
        "outcome": outcome,
        "rule": rule,
        "shares": shown,
        "share_total": sum(one.cents for one in fate.shares),
        "paid": [one for one in fate.payments if sum(one.classes)],
        "deducted": sum(one.cents for one in fate.years),
        "is_draw": entry in drawn,
        "year": fate.entry.date.year,
    }


def _outcome(fate: EntryFate) -> tuple[str, str | None]:
    """What came of an entry, and the rule behind it, by name."""
    kind = fate.entry.kind
    if not fate.seen:
        return "later", None
    if fate.account_kind == "mortgage":
        return "mortgage", "mortgage"
    if fate.leaks:
        return "moved", LEAK_RULES[fate.leaks[0].rule]
    if fate.relinks:
        return "followed", "relink"
    if fate.account_kind == "investment":
        if fate.draw:
            return "supports", "use"
        own = kind == "contribution" and fate.entry.source in (None, "own")
        return ("own", "own") if own else ("nothing", None)
    if kind == "interest":
        return "interest", "interest"
    lowers = kind == "repayment" or fate.entry.amount_cents < 0
    return ("repayment", "repayment") if lowers else ("draw", None)
