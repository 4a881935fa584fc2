"""Each rule of a line: openings, gaps, nights, rates, interest, credit, support."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from ledger.core.trace_types import PostingTrace
from ledger.core.tracing import trace
from planning.core.types import Household, Statement
from tests.ledger.core.builders import household, traced

D = date.fromisoformat


def cut(found: Household, *pieces: tuple[str, str, int, int]) -> Household:
    """The line's one statement cut in pieces (starts, ends, opening, closing)."""
    whole = found.statements[0]
    parts: list[Statement] = [
        replace(
            whole, starts=D(starts), ends=D(ends), opening_cents=opening, closing_cents=closing,
            rates=tuple(one for one in whole.rates if D(starts) <= one[0] <= D(ends)),
            entries=tuple(one for one in whole.entries if D(starts) <= one.date <= D(ends)),
        )
        for starts, ends, opening, closing in pieces
    ]  # fmt: skip
    return replace(found, statements=(*parts, *found.statements[1:]))


def split(amount: str, use: str = "income-investment", **more: Any) -> dict[str, Any]:
    """A split, into `inv` with no evidence unless told otherwise."""
    base = {"to": "inv"} if use == "income-investment" else {}
    return {"amount": amount, "use": use, **base, **more}


def uses(draw: str, *splits: dict[str, Any]) -> list[dict[str, Any]]:
    return [{"draw": draw, "splits": list(splits)}]


def buy(day: str, amount: str, entry_id: str = "c1", **more: str) -> dict[str, str]:
    return {"id": entry_id, "date": day, "kind": "contribution", "amount": amount, **more}


# -- openings, gaps, breaks -------------------------------------------------------


def test_an_opening_balance_has_no_use_until_a_paper_gives_it_one() -> None:
    plain = traced(household("", opening="500.00")).lines["line"]
    assert [(row.id, row.kind, row.on) for row in plain.rows] == [
        ("line-opening", "opening", date(2025, 1, 1))
    ]
    assert plain.principal == (0, 500_00, 0)
    claimed = uses("line-opening", split("300.00", evidence=["old slip"]))
    assert traced(household("", opening="500.00", uses=claimed)).lines["line"].principal == (
        300_00, 200_00, 0,
    )  # fmt: skip


def test_a_purchase_never_supports_an_opening() -> None:
    claimed = uses("line-opening", split("500.00"))
    found = household("", [buy("2025-01-02", "500.00")], opening="500.00", uses=claimed)
    assert traced(found).lines["line"].principal == (0, 500_00, 0)
    assert traced(found).own["inv"] == 500_00


def test_a_gap_and_a_break_are_entries_of_their_own() -> None:
    found = cut(
        household("2025-01-05 draw 100.00 invest"),
        ("2025-01-01", "2025-01-31", 0, 130_00),
        ("2025-02-01", "2025-12-31", 120_00, 120_00),
    )
    line = traced(found).lines["line"]
    assert [(row.id, row.kind, row.amount, row.change, row.balance) for row in line.rows] == [
        ("line-1", "draw", 100_00, (100_00, 0, 0), 100_00),
        ("line-break-2025-01-31", "adjustment", 30_00, (0, 30_00, 0), 130_00),
        ("line-gap-2025-02-01", "adjustment", 10_00, (-7_69, -2_31, 0), 120_00),
    ]
    # Before the statement ended nobody knew of the break.
    assert traced(found, "2025-01-30").lines["line"].balance == 100_00


def test_a_positive_adjustment_may_be_claimed_like_a_draw() -> None:
    claimed = uses("line-break-2025-01-31", split("30.00", evidence=["slip"]))
    found = cut(
        household("", uses=claimed),
        ("2025-01-01", "2025-01-31", 0, 30_00),
        ("2025-02-01", "2025-12-31", 30_00, 30_00),
    )
    assert traced(found).lines["line"].principal == (30_00, 0, 0)


def test_entries_out_of_date_order_are_sorted_and_a_day_keeps_its_sequence() -> None:
    found = household("""
        2025-03-01 repayment 50.00
        2025-01-01 draw 100.00 invest
        2025-03-01 draw 100.00 personal
    """)
    line = traced(found).lines["line"]
    assert [row.id for row in line.rows] == ["line-2", "line-1", "line-3"]
    assert line.principal == (50_00, 0, 100_00)


# -- nights and rates -------------------------------------------------------------


def postings(found: Household, day: str = "2025-12-31") -> tuple[PostingTrace, ...]:
    return traced(found, day).lines["line"].postings


def test_a_posting_covers_the_nights_since_the_one_before() -> None:
    first, second = postings(
        household("""
            2025-01-11 draw 3650.00 invest
            2025-01-31 interest 12.00
            2025-02-28 interest 16.80
        """)
    )
    assert (first.nights, first.computed) == (30, 12_00)  # 20 nights of 0.60
    assert (second.nights, second.computed) == (28, 16_86)  # 28 nights of 3,662.00


def test_the_second_posting_of_a_day_covers_no_night_and_is_ineligible() -> None:
    _, second = postings(
        household("""
            2025-01-01 draw 1000.00 invest
            2025-01-31 interest 5.00
            2025-01-31 interest 1.00
        """)
    )
    assert (second.nights, second.computed, second.classes) == (0, 0, (0, 0, 1_00))


def test_after_a_gap_between_statements_nights_start_anew_and_are_not_checked() -> None:
    found = cut(
        household(
            """
            2025-01-01 draw 1000.00 invest
            2025-03-11 draw 1000.00 personal
            2025-03-21 interest 10.00
            2025-03-31 interest 3.30
        """,
            rates=[["2025-01-01", "0.06"], ["2025-03-01", "0.06"]],
        ),
        ("2025-01-01", "2025-01-31", 0, 1000_00),
        ("2025-03-01", "2025-12-31", 1000_00, 2013_30),
    )
    first, second = postings(found)
    # From 1 March: ten nights of 1,000 and ten of 2,000: two thirds are eligible.
    assert (first.nights, first.computed, first.classes) == (20, None, (6_67, 0, 3_33))
    assert (second.nights, second.computed) == (10, 3_30)


def test_a_stated_rate_ends_with_its_statement_and_prime_goes_on() -> None:
    found = cut(
        household("2025-01-01 draw 36500.00 invest\n2025-03-01 interest 300.00"),
        ("2025-01-01", "2025-01-31", 0, 36500_00),
        ("2025-02-01", "2025-12-31", 36500_00, 36800_00),
    )
    with_prime = replace(found, prime=((D("2024-12-01"), Decimal("0.05")),))
    (posting,) = postings(with_prime)
    assert posting.computed == 31 * 6_00 + 28 * 5_00
    assert postings(found)[0].computed is None


def test_without_a_rate_nights_weigh_by_balance_alone() -> None:
    base = """
        2025-01-01 draw 1000.00 invest
        2025-01-16 draw 1000.00 personal
        2025-01-31 interest 9.00
    """
    dear_end = [["2025-01-01", "0.01"], ["2025-01-16", "0.50"]]
    (weighed,) = postings(household(base, rates=dear_end))
    assert weighed.classes == (4_54, 0, 4_46)  # 0.15 + 7.50 against 7.50, of 9.00
    (plain,) = postings(household(base, rates=[["2025-01-16", "0.50"]]))
    assert (plain.classes, plain.computed) == ((6_00, 0, 3_00), None)


def test_a_leap_year_counts_in_the_computed_amount_never_in_the_weights() -> None:
    found = household(
        "2024-01-01 draw 36600.00 invest\n2024-01-31 interest 180.00",
        starts="2024-01-01", ends="2024-12-31",
    )  # fmt: skip
    assert postings(found, "2024-12-31")[0].computed == 180_49
    actual = replace(found, lines=(replace(found.lines[0], day_basis="actual"),))
    assert postings(actual, "2024-12-31")[0].computed == 180_00


# -- support ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("contribution", "supported"),
    [(buy("2025-01-10", "100.00"), True),
     (buy("2025-01-15", "100.00"), True),
     (buy("2025-01-16", "100.00"), False),
     (buy("2025-01-09", "100.00"), False),
     (buy("2025-01-12", "100.01"), False),
     (buy("2025-01-12", "100.00", **{"from": "line-1"}), True),
     (buy("2025-01-12", "100.00", **{"from": "own"}), False),
     (buy("2025-01-12", "100.00", **{"from": "line-2"}), False)],
)  # fmt: skip
def test_a_purchase_of_the_same_amount_within_five_days_supports(
    contribution: dict[str, str],
    supported: bool,  # noqa: FBT001
) -> None:
    found = household(
        "2025-01-10 draw 100.00\n2025-06-01 draw 1.00 personal",
        [contribution], uses=uses("line-1", split("100.00")),
    )  # fmt: skip
    expected = (100_00, 0, 1_00) if supported else (0, 100_00, 1_00)
    assert traced(found).lines["line"].principal == expected


def test_a_use_must_be_claimed_and_what_is_not_split_stays_unsupported() -> None:
    unclaimed = household("2025-01-10 draw 100.00", [buy("2025-01-10", "100.00")])
    assert traced(unclaimed).lines["line"].principal == (0, 100_00, 0)
    part = household(
        "2025-01-10 draw 100.00", [buy("2025-01-10", "60.00")],
        uses=uses("line-1", split("60.00")),
    )  # fmt: skip
    assert traced(part).lines["line"].principal == (60_00, 40_00, 0)


def test_each_purchase_supports_one_split_a_named_one_first() -> None:
    found = household(
        "2025-01-10 draw 100.00\n2025-01-10 draw 100.00",
        [buy("2025-01-11", "100.00", "free"),
         buy("2025-01-13", "100.00", "named", **{"from": "line-1"})],
        uses=uses("line-1", split("100.00")) + uses("line-2", split("100.00")),
    )  # fmt: skip
    draws = traced(found).draws
    assert [one.splits[0].supported_by for one in draws] == ["named", "free"]
    assert traced(found, "2025-01-12").draws[0].splits[0].supported_by == "free"


def test_a_business_use_needs_a_paper() -> None:
    bare = household("2025-01-10 draw 9.00", uses=uses("line-1", split("9.00", "business-expense")))
    assert traced(bare).lines["line"].principal == (0, 9_00, 0)
    line = traced(household("2025-01-10 draw 9.00 business-expense")).lines["line"]
    assert (line.principal, line.targets["business"]) == ((9_00, 0, 0), 9_00)


def test_a_dated_paper_counts_from_its_date_and_then_from_the_draw_on() -> None:
    late = {"ref": "slip", "on": "2025-03-15"}
    found = household(
        "2025-01-01 draw 100.00\n2025-02-01 interest 1.00",
        uses=uses("line-1", split("100.00", evidence=[late])),
    )
    before = trace(found, date(2025, 3, 14)).lines["line"]
    after = trace(found, date(2025, 3, 15)).lines["line"]
    assert (before.classes, after.classes) == ((0, 101_00, 0), (101_00, 0, 0))


def test_a_registered_destination_is_ineligible_whatever_the_use_says() -> None:
    found = household(
        "2025-01-01 draw 100.00", uses=uses("line-1", split("100.00", to="tfsa", evidence=["x"]))
    )
    (draw,) = traced(found).draws
    assert (draw.classes, draw.registered, draw.personal) == ((0, 0, 100_00), 100_00, 0)


# -- interest paid, fees, credit ----------------------------------------------------


def test_a_draw_for_interest_follows_the_interest_unpaid() -> None:
    found = household("""
        2025-01-01 draw 600.00 invest
        2025-01-01 draw 400.00 personal
        2025-01-31 interest 10.00
        2025-02-01 draw 12.00 line-interest
        2025-02-01 repayment 10.00
    """)
    line = traced(found).lines["line"]
    assert line.rows[3].change == (6_00, 2_00, 4_00)
    assert line.unpaid == (0, 0, 0)
    assert line.targets["interest"] == 6_00
    (draw,) = traced(found).draws[-1:]
    assert (draw.personal, draw.without_paper) == (0, 2_00)


def test_a_fee_is_personal_unless_a_use_says_otherwise() -> None:
    assert traced(household("2025-01-01 fee 5.00")).lines["line"].principal == (0, 0, 5_00)
    claimed = uses("line-1", split("5.00", "rental-expense", evidence=["x"]))
    line = traced(household("2025-01-01 fee 5.00", uses=claimed)).lines["line"]
    assert (line.principal, line.targets["rental"]) == ((5_00, 0, 0), 5_00)


def test_an_overpayment_is_used_before_anything_is_classed() -> None:
    found = household(
        "2025-01-01 draw 100.00 invest\n2025-01-02 repayment 160.00\n2025-01-03 draw 80.00",
        uses=uses("line-3", split("60.00", "personal"), split("20.00", evidence=["x"])),
    )
    line = traced(found).lines["line"]
    assert [row.balance for row in line.rows] == [100_00, -60_00, 20_00]
    assert line.rows[2].change == (5_00, 0, 15_00)


def test_interest_is_paid_oldest_first_then_simple_before_compound() -> None:
    found = household("""
        2025-01-01 draw 1000.00 invest
        2025-02-01 interest 100.00
        2025-03-01 interest 110.00
        2025-03-02 repayment 150.00
        2025-03-03 repayment 55.00
    """)
    end = traced(found)
    assert end.lines["line"].postings[1].compound == (10_00, 0, 0)
    assert [(one.posting, one.classes[0], one.compound[0]) for one in end.payments] == [
        ("line-2", 100_00, 0), ("line-3", 50_00, 0), ("line-3", 55_00, 5_00),
    ]  # fmt: skip
    assert end.lines["line"].unpaid == (5_00, 0, 0)


def test_paid_by_advance_pays_on_the_day_and_leaves_the_columns_alone() -> None:
    text = """
        2025-01-01 draw 750.00 invest
        2025-01-01 draw 250.00 personal
        2025-01-31 interest 4.00
    """
    compounding = traced(household(text)).lines["line"]
    end = traced(household(text, capitalised_interest="paid-by-advance"))
    line = end.lines["line"]
    assert line.rows == tuple(
        replace(row, principal=row.change, targets=(("interest", 3_00),))
        if row.kind == "interest" else row for row in compounding.rows
    )  # fmt: skip
    assert (line.unpaid, line.targets["interest"]) == ((0, 0, 0), 3_00)
    assert [one.classes for one in end.payments] == [(3_00, 0, 1_00)]


# -- several lines ------------------------------------------------------------------


def test_a_repayment_waits_for_the_other_lines_draw_that_pays_it() -> None:
    found = household(
        """
        2025-01-01 draw 70.00 invest
        2025-01-01 draw 30.00 personal
        2025-02-01 repayment 100.00
        """,
        other_lines={"new": "2025-02-01 draw 100.00 refinance line"},
    )
    end = traced(found)
    assert end.lines["line"].balance == 0
    assert end.lines["new"].principal == (70_00, 0, 30_00)
    assert end.lines["new"].targets["inv"] == 70_00
    assert end.draws[-1].personal == 0


def test_a_refinance_above_the_debt_it_pays_is_unsupported() -> None:
    found = household(
        "2025-01-01 draw 70.00 invest\n2025-01-01 draw 30.00 personal",
        other_lines={"new": "2025-02-01 draw 50.00 refinance line ineligible"},
    )
    assert traced(found).lines["new"].principal == (0, 20_00, 30_00)
