"""Laws that tracing keeps for every line, whatever happened on it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.core.deductions import deduction_years
from ledger.core.line_state import shared
from ledger.core.trace_types import add
from ledger.core.tracing import Tracer, trace
from planning.core.money import prorate
from planning.core.months import last_day, months_between
from planning.core.types import Household
from tests.ledger.core.builders import dollars, household, traced
from tests.ledger.core.random_households import random_life

STEPS = st.lists(
    st.tuples(
        st.integers(0, 12),
        st.sampled_from(
            ["draw {} invest", "draw {} personal", "draw {}", "fee {}", "interest {}",
             "repayment {}", "draw {} line-interest"]),
        st.integers(1, 3_000_000),
    ),
    min_size=1, max_size=25,
)  # fmt: skip
CENTS = st.integers(1, 5_000_000)


def told(steps: list[tuple[int, str, int]]) -> str:
    """Steps as the rows of a line, days apart."""
    day = date(2025, 1, 1)
    rows = []
    for gap, row, amount in steps:
        day += timedelta(days=gap)
        rows.append(f"{day} {row.format(dollars(amount))}")
    return "\n".join(rows)


@settings(deadline=None, max_examples=150)
@given(STEPS)
def test_the_parts_add_up_to_the_statement_after_every_entry(
    steps: list[tuple[int, str, int]],
) -> None:
    line = traced(household(told(steps))).lines["line"]
    running, classes = 0, (0, 0, 0)
    for (_, row, amount), got in zip(steps, line.rows, strict=True):
        running += -amount if row.startswith("repayment") else amount
        classes = add(classes, got.change)
        assert got.balance == running
        assert sum(classes) == max(0, running)
    assert classes == line.classes
    assert sum(line.targets.values()) == line.principal[0]


@settings(deadline=None, max_examples=150)
@given(STEPS)
def test_no_part_falls_below_zero_even_when_the_line_is_overpaid(
    steps: list[tuple[int, str, int]],
) -> None:
    classes = (0, 0, 0)
    line = traced(household(told(steps))).lines["line"]
    for row in line.rows:
        classes = add(classes, row.change)
        assert min(classes) >= 0
    assert min(line.principal) >= 0
    assert min(line.unpaid) >= 0


@settings(deadline=None, max_examples=60)
@given(STEPS, st.randoms(use_true_random=False))
def test_the_order_in_the_file_of_facts_of_different_days_is_nothing(
    steps: list[tuple[int, str, int]], dice: object
) -> None:
    apart = [(gap + 1, row, amount) for gap, row, amount in steps]
    found = household(told(apart))
    line, account = found.statements
    entries = list(line.entries)
    dice.shuffle(entries)  # type: ignore[attr-defined]
    mixed = replace(line, entries=tuple(entries))
    other = replace(
        found, statements=(account, mixed), uses=tuple(reversed(found.uses))
    )  # fmt: skip
    assert trace(other, date(2026, 6, 30)) == trace(found, date(2026, 6, 30))


@settings(deadline=None, max_examples=60)
@given(STEPS, CENTS, CENTS, st.sampled_from(["invest", "personal", ""]))
def test_two_draws_of_one_use_on_one_day_are_one_draw(
    steps: list[tuple[int, str, int]], first: int, second: int, use: str
) -> None:
    before, after = told(steps), "2025-12-30 interest 12.34\n2025-12-31 repayment 50.00"
    day = max(row[:10] for row in before.splitlines())
    together = f"{before}\n{day} draw {dollars(first + second)} {use}\n{after}"
    apart = f"{before}\n{day} draw {dollars(first)} {use}\n{day} draw {dollars(second)} {use}\n"
    one = traced(household(together)).lines["line"]
    two = traced(household(apart + after)).lines["line"]
    assert (one.principal, one.unpaid) == (two.principal, two.unpaid)
    assert one.targets == two.targets


@settings(deadline=None, max_examples=60)
@given(CENTS, CENTS, CENTS)
def test_a_draw_repaid_in_full_leaves_what_proportion_leaves(
    eligible: int, personal: int, drawn: int
) -> None:
    start = f"2025-01-01 draw {dollars(eligible)} invest\n"
    back = f"2025-01-02 draw {dollars(drawn)} invest\n2025-01-03 repayment {dollars(drawn)}"
    pure = traced(household(start + back)).lines["line"]
    assert pure.principal == (eligible, 0, 0)
    mixed_start = start + f"2025-01-01 draw {dollars(personal)} personal\n"
    mixed = traced(household(mixed_start + back)).lines["line"]
    taken = prorate(drawn, (eligible + drawn, 0, personal))
    assert mixed.principal == (eligible + drawn - taken[0], 0, personal - taken[2])


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 5000), st.integers(0, 5000))
def test_households_do_not_touch_one_another(one: int, two: int) -> None:
    first, second = random_life(one, lines=2, months=5), random_life(two, months=5)
    a, b = Tracer(first), Tracer(second)
    for month in months_between("2024-01", "2024-05"):
        day = last_day(month)
        assert (a.at(day), b.at(day)) == (trace(first, day), trace(second, day))


@settings(deadline=None, max_examples=60)
@given(STEPS, CENTS)
def test_spending_a_draw_raises_the_ineligible_part_by_exactly_that_much(
    steps: list[tuple[int, str, int]], spent: int
) -> None:
    before = told(steps)
    day = max(row[:10] for row in before.splitlines())
    one = traced(household(before)).lines["line"]
    two = traced(household(f"{before}\n{day} draw {dollars(spent)} personal")).lines["line"]
    credit = max(0, -one.balance)
    raised = max(0, spent - credit)
    assert two.principal == (one.principal[0], one.principal[1], one.principal[2] + raised)


@given(
    st.integers(0, 10**9),
    st.tuples(st.integers(0, 10**12), st.integers(0, 10**12), st.integers(0, 10**12)),
)
def test_interest_is_shared_whole_and_a_larger_weight_never_gets_less(
    posted: int, weights: tuple[int, int, int]
) -> None:
    parts = shared(posted, weights)
    assert sum(parts) == posted
    for one in range(3):
        for two in range(3):
            if weights[one] > weights[two]:
                assert parts[one] >= parts[two]


@settings(deadline=None, max_examples=60)
@given(CENTS, CENTS, CENTS, st.integers(0, 200_000))
def test_interest_posted_follows_what_each_class_owed(
    eligible: int, none: int, personal: int, posted: int
) -> None:
    found = traced(
        household(f"""
            2025-01-01 draw {dollars(eligible)} invest
            2025-01-01 draw {dollars(none)}
            2025-01-01 draw {dollars(personal)} personal
            2025-01-31 interest {dollars(posted)}
        """)
    )
    (posting,) = found.lines["line"].postings
    assert posting.classes == prorate(posted, (eligible, none, personal))
    assert posting.compound == (0, 0, 0)


def deductible_never_above_posted(found: Household) -> None:
    """Cumulatively: a single year may exceed its own postings."""
    end = max(one.ends for one in found.statements)
    done = trace(found, end)
    deducted = posted = 0
    for one in deduction_years(found, done, f"{end:%Y-%m}"):
        deducted += one.deductible
        posted += sum(
            posting.classes[0]
            for line in done.lines.values()
            for posting in line.postings
            if posting.on.year == one.year
        )
        assert deducted <= posted
        if found.facility.interest_method == "paid":
            assert one.deductible + one.unsupported + one.ineligible == one.paid


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000))
def test_what_is_claimed_is_never_more_than_what_was_posted(seed: int) -> None:
    deductible_never_above_posted(random_life(seed, lines=1 + seed % 2, months=16))


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000))
def test_the_columns_of_a_line_add_up_to_its_classes(seed: int) -> None:
    found = random_life(seed, lines=2, months=14)
    end = max(one.ends for one in found.statements)
    for line in trace(found, end).lines.values():
        for index in range(3):
            assert sum(row.change[index] for row in line.rows) == line.classes[index]
            assert sum(row.principal[index] for row in line.rows) == line.principal[index]
        for before, after in pairwise(line.rows):
            assert before.on <= after.on
