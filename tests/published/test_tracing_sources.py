"""Tracing against the authorities' own examples. The source stands beside each check.

Where a figure is computed by hand from a rule's text, the docstring says so.
"""

from __future__ import annotations

from datetime import date, timedelta
from fractions import Fraction
from typing import Any

import pytest

from ledger.core.account_state import proceeds_outflow
from ledger.core.deductions import deduction_years
from ledger.core.tracing import trace
from planning.core.types import Household
from tests.ledger.core.builders import household, traced


def test_a_repayment_of_a_mixed_line_falls_on_every_use_in_proportion() -> None:
    """CRA letter 2007-0221071E5 (7 Sept 2007); folio S3-F6-C1, 1.43.

    60,000 personal, 40,000 invested, 20,000 repaid: deductible stays 40 %.
    """
    line = traced(
        household("""
            2025-01-01 draw 60000.00 personal
            2025-01-05 draw 40000.00 invest
            2025-02-01 repayment 20000.00
        """)
    ).lines["line"]
    assert line.principal == (32_000_00, 0, 48_000_00)


def test_interest_of_the_mixed_line_is_shared_by_the_same_ratio() -> None:
    """Same letter's balances; 80,000 at 6 %, 28 days, /365 = 368.22, of which 147.29 (computed)."""
    found = traced(
        household("""
            2025-02-01 draw 48000.00 personal
            2025-02-01 draw 32000.00 invest
            2025-03-01 interest 368.22
        """, starts="2025-02-01"),
        "2025-03-31",
    )  # fmt: skip
    (posting,) = found.lines["line"].postings
    assert (posting.nights, posting.computed) == (28, 368_22)
    assert posting.classes == (147_29, 0, 220_93)


@pytest.mark.parametrize(
    ("first", "second", "eligible"),
    [("draw 10000.00 invest", "repayment 10000.00", 54_545_45),
     ("repayment 10000.00", "draw 10000.00 invest", 55_000_00)],
)  # fmt: skip
def test_the_order_of_one_day_matters(first: str, second: str, eligible: int) -> None:
    """Folio 1.43 applied to 50,000 + 50,000 in both orders (computed by hand)."""
    line = traced(
        household(f"""
            2025-01-01 draw 50000.00 invest
            2025-01-01 draw 50000.00 personal
            2025-01-02 {first}
            2025-01-02 {second}
        """)
    ).lines["line"]
    assert line.principal == (eligible, 0, 100_000_00 - eligible)


def test_repayments_never_change_the_ratio() -> None:
    """Folio 1.43: only draws and uses change the ratio, repayments never (to the cent rule)."""
    rows = ["2025-01-01 draw 70000.00 invest", "2025-01-01 draw 30000.00 personal"]
    rows += [f"2025-{month:02d}-01 repayment {1234.57 + month:.2f}" for month in range(2, 12)]
    line = traced(household("\n".join(rows))).lines["line"]
    total = sum(line.principal)
    assert abs(Fraction(line.principal[0], total) - Fraction(7, 10)) * total < 10


def test_commingled_cash_follows_the_choice_recorded() -> None:
    """Folio 1.42, Example 9: of 100 borrowed and 200 own, all 100 may go to purchase #1."""
    uses = [
        {
            "draw": "line-1",
            "splits": [
                {"amount": "100.00", "use": "income-investment", "to": "inv", "evidence": ["memo"]}
            ],
        }
    ]
    line = traced(household("2025-01-01 draw 100.00", uses=uses)).lines["line"]
    assert line.principal == (100_00, 0, 0)
    assert line.targets["inv"] == 100_00


@pytest.mark.parametrize(
    ("withdrawn", "proceeds", "moved"),
    [(18_000_00, 48_000_00, 10_000_00), (0, 32_000_00, 0), (16_000_00, 32_000_00, 20_000_00)],
)
def test_partial_sales(withdrawn: int, proceeds: int, moved: int) -> None:
    """Folio 1.36-1.39 (replacement property) built into a partial-sale rule (computed):
    debt 100,000 on 1,000 units, 400 sold; the debt of the part sold is 40,000."""
    out = proceeds_outflow(100_000_00, 0, withdrawn, proceeds, Fraction(4, 10))
    assert out.moved == moved


def _bought(amount: str) -> dict[str, Any]:
    return {"id": "c1", "date": "2025-01-02", "kind": "contribution", "amount": amount,
            "from": "line-1"}  # fmt: skip


def _sale(entry_id: str, amount: str, to: str, proceeds: str, fraction: str) -> dict[str, Any]:
    return {"id": entry_id, "date": "2025-06-02", "kind": "withdrawal", "amount": amount,
            "of": "proceeds", "to": to, "proceeds": proceeds,
            "cost_fraction": fraction}  # fmt: skip


@pytest.mark.parametrize(
    ("withdrawn", "proceeds", "moved"),
    [("18000.00", "48000.00", 10_000_00), ("16000.00", "32000.00", 20_000_00)],
)
def test_partial_sales_on_a_line(withdrawn: str, proceeds: str, moved: int) -> None:
    """The same cases (a) and (c) through the books: 100,000 linked, 40 % of the cost sold."""
    account = [_bought("100000.00"), _sale("w1", withdrawn, "personal", proceeds, "0.4")]
    line = traced(household("2025-01-01 draw 100000.00 invest", account)).lines["line"]
    assert line.principal == (100_000_00 - moved, 0, moved)


@pytest.mark.parametrize(
    ("sales", "first", "second"),
    [((("1200000.00", "inv2", "1500000.00"), ("300000.00", "inv3", "300000.00")),
      700_000_00, 300_000_00),
     ((("300000.00", "inv3", "1500000.00"), ("1200000.00", "inv2", "1200000.00")),
      1_000_000_00, 0)],
)  # fmt: skip
def test_replacements_worth_the_debt_are_linked_as_chosen(
    sales: tuple[tuple[str, str, str], ...], first: int, second: int
) -> None:
    """Folio 1.38, Example 5: 1,000,000 borrowed, sold for 1,500,000 into Y (1,200,000) and
    Z (300,000). Either choice stands, given by the order of the two transfers."""
    account = [_bought("1000000.00")]
    account += [_sale(f"w{n}", cash, to, all_, "1") for n, (cash, to, all_) in enumerate(sales)]
    line = traced(household("2025-01-01 draw 1000000.00 invest", account)).lines["line"]
    assert line.principal == (1_000_000_00, 0, 0)
    assert (line.targets["inv2"], line.targets["inv3"]) == (first, second)
    assert line.targets["inv"] == 0


def test_replacements_worth_less_than_the_debt_share_the_link_by_value() -> None:
    """Folio 1.39, Example 6: sold for 800,000 into Y (600,000) and Z (200,000): the debt
    of 1,000,000 is linked 750,000 and 250,000."""
    account = [
        _bought("1000000.00"),
        _sale("w1", "600000.00", "inv2", "800000.00", "1"),
        _sale("w2", "200000.00", "inv3", "200000.00", "1"),
    ]
    line = traced(household("2025-01-01 draw 1000000.00 invest", account)).lines["line"]
    assert line.principal == (1_000_000_00, 0, 0)
    assert (line.targets["inv2"], line.targets["inv3"]) == (750_000_00, 250_000_00)
    assert line.targets["inv"] == 0


def test_a_slip_that_turns_a_distribution_into_capital_restates_from_its_day_only() -> None:
    """Van Steenis with the T3 slip's box 42 (return of capital) known after the year-end:
    500 of cash paid out and spent was booked as income, and is capital."""

    def year(of: str) -> Household:
        account = [
            _bought("20000.00"),
            {"id": "d1", "date": "2025-10-01", "kind": "distribution", "amount": "500.00",
             "of": of, "paid": "cash"},
            {"id": "w1", "date": "2025-10-02", "kind": "withdrawal", "amount": "500.00",
             "to": "personal"},
        ]  # fmt: skip
        return household("2025-01-01 draw 20000.00 invest\n2025-12-31 interest 1196.71", account)

    booked, restated = year("eligible_dividend"), year("return_of_capital")
    day = date(2025, 1, 1)
    while day <= date(2025, 12, 31):
        before, after = (trace(one, day).lines["line"] for one in (booked, restated))
        assert before.balance == after.balance
        moved = 500_00 if day >= date(2025, 10, 2) else 0
        assert before.principal == (20_000_00, 0, 0)
        assert after.principal == (20_000_00 - moved, 0, moved), day
        day += timedelta(days=1)
    (posting,) = trace(restated, day).lines["line"].postings
    # 500 of 20,000 for the 90 nights from 2 October to 30 December, of 364 nights.
    share = Fraction(500 * 90, 20_000 * 364)
    assert posting.classes == (1196_71 - round(share * 1196_71), 0, round(share * 1196_71))


def _with_return_of_capital(to: str, then: str = "") -> Any:
    account = [
        {"id": "c1", "date": "2025-01-02", "kind": "contribution", "amount": "200000.00",
         "from": "line-1"},
        {"id": "d1", "date": "2025-03-01", "kind": "distribution", "amount": "6000.00",
         "of": "return_of_capital", "paid": "reinvested" if to == "reinvested" else "cash"},
    ]  # fmt: skip
    if to != "reinvested":
        account.append({"id": "w1", "date": "2025-03-02", "kind": "withdrawal",
                        "amount": "6000.00", "of": "return_of_capital", "to": to})  # fmt: skip
    return traced(household(f"2025-01-01 draw 200000.00 invest\n{then}", account))


def test_return_of_capital_spent_loses_the_use() -> None:
    """Van Steenis v. The Queen, 2018 TCC 78, aff'd 2019 FCA 107; CRA 2012-0446741E5."""
    found = _with_return_of_capital("personal")
    assert found.lines["line"].principal == (194_000_00, 0, 6_000_00)
    (leak,) = found.leaks
    assert (leak.id, leak.rule, leak.moved) == ("w1", "capital", 6_000_00)


def test_return_of_capital_reinvested_changes_nothing() -> None:
    """Folio 1.40 and Example 7: the link follows the reinvestment."""
    found = _with_return_of_capital("reinvested")
    assert found.lines["line"].principal == (200_000_00, 0, 0)
    assert not found.leaks


def test_return_of_capital_repaid_to_the_line_lowers_it() -> None:
    """Folio 1.40: repaid debt is repaid debt; nothing becomes ineligible."""
    found = _with_return_of_capital("line", "2025-03-02 repayment 6000.00")
    assert found.lines["line"].principal == (194_000_00, 0, 0)
    assert not found.leaks


def test_return_of_capital_to_the_mortgage_leaves_an_ineligible_part() -> None:
    """Van Steenis applied to a prepayment that is re-borrowed (computed): balance
    206,000, ineligible 6,000; at 6 % and 43 % the lost tax is 154.80 a year."""
    found = _with_return_of_capital("mortgage", "2025-03-03 draw 6000.00 invest")
    line = found.lines["line"]
    assert line.balance == 206_000_00
    assert line.principal == (200_000_00, 0, 6_000_00)
    assert line.principal[2] * Fraction("0.06") * Fraction("0.43") == 154_80


def test_compound_interest_counts_when_paid() -> None:
    """CRA memo of 31 March 1989 (file 7-3643): 1,000,000 at 10 % yearly, paid at maturity:
    100,000 of simple interest a year, 110,510 of compound paid in year five."""
    rows = ["2021-01-01 draw 1000000.00 invest"]
    owed = 1_000_000_00
    for year in range(2021, 2026):
        interest = owed // 10
        owed += interest
        rows.append(f"{year}-12-31 interest {interest / 100:.2f}")
    rows.append(f"2025-12-31 repayment {owed / 100:.2f}")
    assert owed == 1_610_510_00
    found = household(
        "\n".join(rows), starts="2021-01-01", rates=[["2021-01-01", "0.10"]],
        interest_method="payable",
    )  # fmt: skip
    end = traced(found)
    postings = end.lines["line"].postings
    assert [one.compound[0] for one in postings] == [
        0, 10_000_00, 21_000_00, 33_100_00, 46_410_00
    ]  # fmt: skip
    years = deduction_years(found, end, "2025-12")
    assert [one.deductible for one in years] == [100_000_00] * 4 + [210_510_00]
    assert [one.compound for one in years] == [0, 0, 0, 0, 110_510_00]
    assert end.lines["line"].balance == 0


def test_borrowing_to_pay_deductible_interest_is_deductible() -> None:
    """CRA 2004-0070341E5 (16 Dec 2004), 2005-0116661C6: a second loan that pays the
    interest of a fully eligible first one is itself eligible."""
    found = household(
        """
        2025-01-01 draw 100000.00 invest
        2025-02-01 interest 509.59
        2025-02-02 repayment 509.59
        """,
        other_lines={"line2": "2025-02-02 draw 509.59 line-interest line"},
    )
    end = traced(found)
    assert end.lines["line2"].principal == (509_59, 0, 0)
    assert end.lines["line2"].targets["interest"] == 509_59
    assert end.lines["line"].unpaid == (0, 0, 0)


def _sold(to: str, then: str = "") -> Any:
    account = [
        {"id": "c1", "date": "2025-01-02", "kind": "contribution", "amount": "100000.00",
         "from": "line-1"},
        {"id": "w1", "date": "2025-06-02", "kind": "withdrawal", "amount": "30000.00",
         "of": "proceeds", "to": to, "cost_fraction": "1"},
    ]  # fmt: skip
    return traced(household(f"2025-01-01 draw 100000.00 invest\n{then}", account))


def test_vanished_source_stays_deductible() -> None:
    """ITA 20.1(1): 100,000 borrowed, shares sold for 30,000 which repay the loan:
    70,000 is deemed still used (computed from the text)."""
    found = _sold("line", "2025-06-02 repayment 30000.00")
    assert found.lines["line"].principal == (70_000_00, 0, 0)


def test_vanished_source_spent_keeps_only_the_rest() -> None:
    """ITA 20.1(1): had the 30,000 been spent, 30,000 is ineligible, 70,000 deemed used."""
    found = _sold("personal")
    assert found.lines["line"].principal == (70_000_00, 0, 30_000_00)


def test_moving_holdings_into_a_registered_plan_kills_the_link_from_that_day() -> None:
    """ITA 18(11) and its closing words: units with 18,500 of linked debt moved to a TFSA."""
    account = [
        {"id": "c1", "date": "2025-01-02", "kind": "contribution", "amount": "18500.00",
         "from": "line-1"},
        {"id": "k1", "date": "2025-03-01", "kind": "transfer-in-kind", "amount": "20000.00",
         "to": "tfsa", "cost_fraction": "1"},
    ]  # fmt: skip
    found = household("2025-01-01 draw 18500.00 invest", account)
    assert traced(found, "2025-02-28").lines["line"].principal == (18_500_00, 0, 0)
    assert traced(found, "2025-03-01").lines["line"].principal == (0, 0, 18_500_00)


def test_refinancing_into_two_lines_keeps_the_character_of_each_dollar() -> None:
    """ITA 20(3): 40,000 + 60,000 moved into two lines; repaying the 60,000 leaves all eligible."""
    found = household(
        """
        2025-01-01 draw 40000.00 invest
        2025-01-01 draw 60000.00 personal
        2025-02-01 repayment 100000.00
        """,
        other_lines={
            "good": "2025-02-01 draw 40000.00 refinance line eligible",
            "rest": "2025-02-01 draw 60000.00 refinance line ineligible\n"
            "2025-03-01 repayment 60000.00",
        },
    )
    end = traced(found)
    assert end.lines["line"].balance == 0
    assert end.lines["good"].principal == (40_000_00, 0, 0)
    assert end.lines["good"].targets["inv"] == 40_000_00
    assert end.lines["rest"].principal == (0, 0, 0)


def test_daily_interest_of_a_partly_repaid_debt() -> None:
    """A personal-finance explainer's example: 1,000 at 5 % for 10 days, then 500 for 21 days,
    /365: 1.37 + 1.44 = 2.81."""
    found = traced(
        household("""
            2025-01-01 draw 1000.00 invest
            2025-01-11 repayment 500.00
            2025-02-01 interest 2.81
        """, rates=[["2025-01-01", "0.05"]]),
        "2025-02-28",
    )  # fmt: skip
    (posting,) = found.lines["line"].postings
    assert (posting.computed, posting.nights) == (2_81, 31)


def test_what_is_claimed_never_exceeds_what_was_posted() -> None:
    """ITA 20(1)(c): paid or payable. Paying twice the interest claims it once."""
    found = traced(
        household("""
            2025-01-01 draw 10000.00 invest
            2025-02-01 interest 50.96
            2025-02-02 repayment 200.00
            2025-03-01 interest 45.00
            2025-03-02 repayment 500.00
        """)
    )  # fmt: skip
    assert sum(one.classes[0] for one in found.payments) == 95_96
    assert found.as_of == date(2025, 12, 31)
