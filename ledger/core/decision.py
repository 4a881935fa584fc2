"""A decision about a draw, checked, and what it would change before anybody saves it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from config.problems import BadInput, Problem
from ledger.core.close import Closing, latest_month
from ledger.core.deductions import DeductionYear, deduction_years
from ledger.core.drift.findings import Finding
from ledger.core.drift.lives import follow
from ledger.core.drift.thresholds import DEFAULTS, Thresholds
from ledger.core.facts import DRAW_KINDS, Fact, facts_problems, household_facts
from planning.core.household_file import household_from_json, household_to_json
from planning.core.types import Household, Split, Use


def drawings(household: Household) -> tuple[Fact, ...]:
    """What a decision may be about: draws, fees, openings and adjustments that add to a line."""
    return tuple(
        fact
        for fact in household_facts(household)
        if fact.of_line and fact.entry.kind in DRAW_KINDS and fact.amount > 0
    )


def drawing(household: Household, draw: str) -> Fact | None:
    """The fact a decision about `draw` is about; None when no line has such an entry."""
    return next((one for one in drawings(household) if one.entry.id == draw), None)


def decided(household: Household, draw: str, splits: Sequence[Split]) -> Household:
    """The household as if `draw` had been used like this; without splits, no use is claimed."""
    uses = tuple(one for one in household.uses if one.draw != draw)
    if not splits:
        return replace(household, uses=uses)
    fresh = Use(draw, tuple(splits))
    if len(uses) == len(household.uses):
        return replace(household, uses=(*uses, fresh))
    return replace(
        household, uses=tuple(fresh if one.draw == draw else one for one in household.uses)
    )


def decision_problems(
    household: Household, draw: str, splits: Sequence[Split]
) -> tuple[Problem, ...]:
    """What is wrong with a decision, by the rules of the household file and of its facts.

    Places are those of the decision alone: "splits[1].to". Faults that the
    household had before are not blamed on it.
    """
    if drawing(household, draw) is None:
        text = f"there is no draw {draw!r} on file"
        return (Problem(draw, "draw", text, "Name a draw, fee or opening of a line"),)
    after = decided(household, draw, splits)
    places = {one.draw: f"uses[{index}]." for index, one in enumerate(after.uses)}
    mine = places.get(draw, "")
    if not mine:
        return ()
    found: list[Problem] = []
    try:
        household_from_json(household_to_json(after), draw)
    except BadInput as error:
        found += error.problems
    found += facts_problems(after, draw)[0]
    found += _nothing_split(splits, draw, mine)
    return tuple(
        replace(one, where=one.where.removeprefix(mine))
        for one in found
        if one.where.startswith(mine)
    )


def _nothing_split(splits: Sequence[Split], draw: str, mine: str) -> list[Problem]:
    return [
        Problem(
            draw, f"{mine}splits[{number}].amount", "the amount is nothing", "Leave the split out"
        )
        for number, one in enumerate(splits)
        if one.amount_cents <= 0
    ]


@dataclass(frozen=True, slots=True)
class YearEffect:
    """A calendar year's deduction before and after, in cents."""

    year: int
    before: DeductionYear
    after: DeductionYear


@dataclass(frozen=True, slots=True)
class FindingEffect:
    """An open finding that a decision opens, closes or changes; None on the side without it."""

    code: str
    key: str
    before: Finding | None
    after: Finding | None


@dataclass(frozen=True, slots=True)
class DecisionEffect:
    """What a decision would change at the close of `through`, the draw's own month on.

    `years` lists every year, changed or not. Amounts are cents.
    """

    draw: str
    on: date
    through: str
    years: tuple[YearEffect, ...]
    findings: tuple[FindingEffect, ...]

    @property
    def changes_nothing(self) -> bool:
        """Whether every figure stays as it is."""
        return not self.findings and all(one.before == one.after for one in self.years)


def decision_effect(
    household: Household,
    draw: str,
    splits: Sequence[Split],
    through: str | None = None,
    thresholds: Thresholds = DEFAULTS,
) -> DecisionEffect:
    """Close the household twice, as it is and as if decided, and compare.

    `through` is by default the month in which the latest statement ends.
    Raises BadInput when the decision has problems or the plan cannot be played.
    """
    problems = decision_problems(household, draw, splits)
    if problems:
        raise BadInput(problems)
    fact = drawing(household, draw)
    last = through or latest_month(household)
    assert fact is not None, "the problems name a draw that is not on file"
    assert last is not None, "a draw on file stands on a statement"
    years_before, open_before = _at_close(household, last, thresholds)
    years_after, open_after = _at_close(decided(household, draw, splits), last, thresholds)
    return DecisionEffect(
        draw=draw,
        on=fact.on,
        through=last,
        years=tuple(
            YearEffect(one.year, one, two)
            for one, two in zip(years_before, years_after, strict=True)
        ),
        findings=_compared(open_before, open_after),
    )


OpenFindings = Mapping[tuple[str, str], Finding]


def _at_close(
    household: Household, month: str, thresholds: Thresholds
) -> tuple[tuple[DeductionYear, ...], OpenFindings]:
    closing = Closing(household, thresholds)
    runs = follow([(one, closing.findings(one)) for one in closing.months(month)])
    years = deduction_years(household, closing.traced(month)[0], month)
    return years, {(one.finding.code, one.finding.key): one.finding for one in runs if one.open}


def _compared(before: OpenFindings, after: OpenFindings) -> tuple[FindingEffect, ...]:
    """Findings that come first, then those that go, then those whose dollars move."""
    names = dict.fromkeys((*after, *before))
    found = [
        FindingEffect(code, key, before.get((code, key)), after.get((code, key)))
        for code, key in names
    ]
    moved = [one for one in found if _dollars(one.before) != _dollars(one.after)]
    return tuple(sorted(moved, key=lambda one: (one.before is not None, one.after is not None)))


def _dollars(one: Finding | None) -> tuple[int, int] | None:
    return None if one is None else (one.dollars_cents, one.cost_per_year_cents)
