"""Two evaluations side by side: what changed in the facts and in the months, to the cent."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

from ledger.core.close import evaluate
from ledger.core.restatement import fact_changes, month_changes, restatement
from planning.core.household_file import read_household
from planning.core.plan_types import ROW_KEYS
from planning.core.types import Evidence, Household, Split, Use

SAMPLES = Path(__file__).resolve().parents[2] / "samples"


def steady() -> Household:
    """A sample of fourteen months."""
    path = SAMPLES / "steady.json"
    return read_household(path.read_text("utf-8"), path.name)


def measures(found: Household) -> dict[str, dict[str, int]]:
    """Every month's measures in cents."""
    return {
        one.month: {key: getattr(one.actual, key) for key in ROW_KEYS}
        for one in evaluate(found).closes
    }


def with_use(found: Household, draw: str, use: str) -> Household:
    """The household with one draw's whole amount in another use."""
    uses = [
        replace(
            one,
            splits=tuple(
                Split(split.amount_cents, use, None, None, split.evidence) for split in one.splits
            ),
        )
        if one.draw == draw
        else one
        for one in found.uses
    ]
    return replace(found, uses=tuple(uses))


def test_the_same_twice_changes_nothing() -> None:
    one = steady()
    assert restatement(one, one, measures(one), measures(one)).facts == ()
    assert restatement(one, one, measures(one), measures(one)).months == ()


def test_a_draw_turned_personal_explains_every_later_months_deduction() -> None:
    before = steady()
    draw = before.uses[0].draw
    after = with_use(before, draw, "personal")
    one, two = measures(before), measures(after)
    found = restatement(before, after, one, two)
    (change,) = found.facts
    assert (change.what, change.action, change.where) == ("use", "altered", draw)
    (field,) = change.fields
    assert "income-investment" in field.before
    assert "personal" in field.after
    drawn = {entry.id: entry.date for s in before.statements for entry in s.entries}[draw]
    assert min(month.month for month in found.months) == f"{drawn:%Y-%m}"
    total = sum(two[month]["deductible"] - one[month]["deductible"] for month in two)
    assert found.difference("deductible") == total < 0
    for year in (2025, 2026):
        old = next(row for row in evaluate(before).deductions if row.year == year)
        new = next(row for row in evaluate(after).deductions if row.year == year)
        mine = [month for month in found.months if month.month.startswith(str(year))]
        assert sum(month.difference("deductible") for month in mine) == (
            new.deductible - old.deductible
        )


def test_facts_added_removed_and_altered_are_named() -> None:
    before = steady()
    first, *others = before.uses
    paper = replace(first.splits[0], evidence=(Evidence("late-slip", date(2025, 9, 1)),))
    first_month, statement, *later = before.statements
    entries = (replace(statement.entries[0], amount_cents=1_00), *statement.entries[1:])
    after = replace(
        before,
        uses=(Use(first.draw, (paper, *first.splits[1:])), *others[:-1]),
        statements=(first_month, replace(statement, entries=entries), *later[:-1]),
        prime=(*before.prime, (date(2026, 2, 20), before.prime[-1][1])),
    )
    found = {(one.what, one.action) for one in fact_changes(before, after)}
    assert {("evidence", "added"), ("use", "removed"), ("entry", "altered")} <= found
    assert {("statement", "removed"), ("prime", "added")} <= found
    (entry,) = [one for one in fact_changes(before, after) if (one.what, one.action)
                == ("entry", "altered")]  # fmt: skip
    assert [(one.name, one.after) for one in entry.fields] == [("amount", "1.00")]
    early = {one.what for one in fact_changes(before, after, date(2025, 1, 31))}
    assert "prime" not in early


def test_the_use_of_a_later_draw_is_no_fact_of_an_earlier_month() -> None:
    before = steady()
    after = with_use(before, before.uses[-1].draw, "personal")
    assert [one.what for one in fact_changes(before, after)] == ["use"]
    assert fact_changes(before, after, date(2025, 6, 30)) == ()


def test_a_month_on_one_side_only_counts_from_nothing() -> None:
    (one,) = month_changes({}, {"2025-01": {"deductible": 5, "draw": 0}})
    assert [(m.measure, m.before, m.after) for m in one.measures] == [("deductible", 0, 5)]
