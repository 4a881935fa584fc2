"""Mortgages, limits and freed principal by day, read from statements alone."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from ledger.core.close import evaluate
from ledger.core.contract import contract_payment_cents, term_index
from ledger.core.facility_book import facility_book
from ledger.core.steps import Steps
from planning.core.household_file import household_from_json
from tests.ledger.core.story import Story


def test_steps_hold_the_last_value_of_a_day_until_the_next() -> None:
    steps = Steps.of([(date(2025, 1, 5), 1), (date(2025, 1, 5), 2), (date(2025, 2, 1), 3)], 9)
    days = (date(2025, 1, 4), date(2025, 1, 5), date(2025, 1, 31), date(2025, 2, 1))
    assert [steps.on(day) for day in days] == [9, 2, 2, 3]


def above_the_cap(rule: str) -> dict[str, Any]:
    """A household whose mortgage lies 4,000.00 above 65% of the value on file."""
    story = Story()
    story.file["facility"] |= {
        "lender_value": "732307.69",
        "registered_limit": "600000.00",
        "excess_rule": rule,
    }
    return story.json()


def test_principal_first_brings_the_part_above_the_cap_down() -> None:
    book = facility_book(household_from_json(above_the_cap("excess-first"), "x"))
    # 476,000.00 is 65%; A0 = 4,000.00; 825.35 + 828.68 + 832.03 + 835.38 = 3,321.44.
    assert book.excess.on(date(2025, 1, 31)) == 400_000
    assert book.excess.on(date(2025, 5, 31)) == 67_856
    assert [one.freed for one in book.freed] == [0, 0, 0, 0, 83_875 - 67_856]
    assert book.computed_limit_on(date(2025, 5, 31)) == 0
    assert book.computed_limit_on(date(2025, 6, 30)) == 16_019


def test_the_other_excess_rules() -> None:
    none = facility_book(household_from_json(above_the_cap("none"), "x"))
    assert [one.freed for one in none.freed][:2] == [82_535, 82_868]
    share = facility_book(household_from_json(above_the_cap("proportional"), "x"))
    # 825.35 x 4,000.00 / 480,000.00 = 6.88.
    assert share.freed[0].freed == 82_535 - 688


def test_a_missing_mortgage_statement_moves_the_balance_and_frees_nothing() -> None:
    story = Story()
    story.skipped.add(("mtg", "2025-03"))
    book = facility_book(story.household())
    assert book.mortgage_on(date(2025, 3, 31)) == 47_917_465
    assert book.mortgage_on(date(2025, 4, 1)) == 47_834_597 - 83_203
    assert [one.id for one in book.freed] == [
        "mtg-2025-02", "mtg-2025-04", "mtg-2025-05", "mtg-2025-06"
    ]  # fmt: skip


def test_two_payments_of_a_statement_share_its_interest_by_contract() -> None:
    story = Story(months=2)
    data = story.json()
    mortgage = data["mortgages"][0]
    mortgage |= {"frequency": "biweekly", "first_payment": "2025-02-03"}
    february = next(
        one
        for one in data["statements"]
        if one["account"] == "mtg" and one["starts"] == "2025-02-01"
    )
    # Biweekly at 4.89%: 893.09 on 480,000.00, then 892.38 on 479,617.09.
    february["entries"] = [
        {"id": "p1", "date": "2025-02-03", "kind": "payment", "amount": "1276.00"},
        {"id": "p2", "date": "2025-02-17", "kind": "payment", "amount": "1276.00"},
    ]
    february["closing"] = "479233.47"
    book = facility_book(household_from_json(data, "x"))
    facts = book.mortgages["mtg"].facts
    assert [one.interest for one in facts] == [89_309, 89_238]
    assert facts[-1].balance == 47_923_347
    # A lender 10.00 dearer: the interest is shared in proportion, the balance holds.
    february["closing"] = "479243.47"
    dearer = facility_book(household_from_json(data, "x")).mortgages["mtg"].facts
    assert sum(one.interest for one in dearer) == 89_309 + 89_238 + 1_000
    assert dearer[-1].balance == 47_924_347


def test_the_payment_on_or_after_maturity_is_the_last_at_the_old_rate() -> None:
    story = Story()
    terms = story.file["mortgages"][0]["terms"]
    terms[0]["matures"] = "2025-04-01"
    terms.append({"starts": "2025-04-01", "matures": "2028-04-01", "kind": "fixed",
                  "rate": "0.0389", "payment": "2500.00"})  # fmt: skip
    household = story.household()
    mortgage = household.mortgages[0]
    book = facility_book(household).mortgages["mtg"]
    # Index 2 is 1 April, index 3 is 1 May.
    assert [term_index(mortgage, index) for index in range(5)] == [0, 0, 0, 1, 1]
    paid = [
        contract_payment_cents(mortgage, index, household.prime, book.balance_on, date(2025, 1, 1))
        for index in (2, 3)
    ]
    assert paid == [276_172, 250_000]


def test_the_stated_limit_holds_for_its_statement_only() -> None:
    story = Story()
    story.reborrow_all()
    story.limits["2025-04"] = "5000.00"
    book = facility_book(story.household())
    assert book.room_on("line", date(2025, 3, 31)) == 0
    assert book.room_on("line", date(2025, 4, 1)) == 500_000 - 248_606
    assert book.room_on("line", date(2025, 5, 1)) == 0


def test_a_line_owes_nothing_before_its_first_statement() -> None:
    story = Story(months=4)
    story.opening["line"] = Decimal("5000.00")
    story.skipped.add(("line", "2025-01"))
    report = evaluate(story.household())
    january, february = report.closes[0].actual, report.closes[1].actual
    assert (january.line_opening, january.line_closing) == (0, 0)
    assert february.line_opening == 500_000
    assert february.line_closing == sum((february.eligible, february.unsupported,
                                         february.ineligible))  # fmt: skip
    underwater = [run for run in report.runs if run.finding.code == "underwater"]
    assert [run.first for run in underwater] == ["2025-02"]
