"""Broken balances, missing statements, limits: what the papers say of themselves."""

from __future__ import annotations

from typing import Any

from ledger.core.close import evaluate
from planning.core.household_file import household_from_json
from tests.ledger.core.story import Story, codes, found


def steady(months: int = 6) -> Story:
    """A household that does what its plan says."""
    story = Story(months=months)
    story.reborrow_all()
    return story


def runs_of(data: dict[str, Any], code: str) -> list[tuple[str, str, str, int, bool]]:
    """Runs of one code for a file changed by hand."""
    report = evaluate(household_from_json(data, "changed.json"))
    return [
        (one.finding.key, one.first, one.last, one.finding.dollars_cents, one.open)
        for one in report.runs
        if one.finding.code == code
    ]


def statement(data: dict[str, Any], account: str, month: str) -> dict[str, Any]:
    """One statement of a file."""
    return next(
        one
        for one in data["statements"]
        if one["account"] == account and one["starts"].startswith(month)
    )


def test_an_opening_that_does_not_follow_is_a_break_in_the_month_it_ends() -> None:
    data = steady().json()
    line = statement(data, "line", "2025-04")
    line["opening"] = "1664.03"
    assert runs_of(data, "balance-break") == [
        ("line:2025-04", "2025-04", "2025-06", 1000 + 1000, True)
    ]
    line["closing"] = "2496.06"
    # Now the entries explain the closing, and May opens 10.00 away from it.
    assert runs_of(data, "balance-break") == [
        ("line:2025-04", "2025-04", "2025-06", 1000, True),
        ("line:2025-05", "2025-05", "2025-06", 1000, True),
    ]


def test_a_gap_and_a_break_of_one_statement_add_up_without_sign() -> None:
    data = steady().json()
    line = statement(data, "line", "2025-06")
    line["opening"], line["closing"] = "3331.44", "4150.19"
    # Opens 10.00 above the closing before; closes 20.00 below where it leads.
    assert runs_of(data, "balance-break") == [("line:2025-06", "2025-06", "2025-06", 3000, True)]


def test_a_mortgage_closing_is_checked_only_when_every_payment_states_its_principal() -> None:
    data = steady().json()
    mortgage = statement(data, "mtg", "2025-06")
    mortgage["closing"] = "475800.00"
    # The entries lead to 475,839.81.
    assert runs_of(data, "balance-break") == [("mtg:2025-06", "2025-06", "2025-06", 3981, True)]
    del mortgage["entries"][0]["principal"]
    del mortgage["entries"][0]["interest"]
    assert runs_of(data, "balance-break") == []


def test_an_investment_closing_is_a_market_value_and_never_breaks() -> None:
    data = steady().json()
    statement(data, "inv", "2025-05")["closing"] = "9000.00"
    assert runs_of(data, "balance-break") == []


def test_a_statement_still_running_is_not_judged() -> None:
    data = steady().json()
    june = statement(data, "line", "2025-06")
    june["ends"], june["closing"] = "2025-07-10", "9999.00"
    june["entries"][-1]["date"] = june["entries"][-2]["date"] = "2025-06-30"
    report = evaluate(household_from_json(data, "x"), "2025-06")
    assert [one for one in report.runs if one.finding.code == "balance-break"] == []


def test_a_missing_statement_is_reported_for_its_month_and_stays_so() -> None:
    story = steady()
    story.skipped.add(("inv", "2025-04"))
    assert found(story, "statement-missing") == [
        ("inv:2025-04", "2025-04", "2025-06", "0.00", "paper", True)
    ]
    story.skipped.add(("inv", "2025-06"))
    assert [one[0] for one in found(story, "statement-missing")] == ["inv:2025-04", "inv:2025-06"]


def test_a_missing_line_statement_breaks_the_balance_and_after_thirty_days_wants_paper() -> None:
    story = steady()
    story.skipped.add(("line", "2025-03"))
    story.uses = [one for one in story.uses if "2025-03" not in one["draw"]]
    assert [one[0] for one in found(story, "statement-missing")] == ["line:2025-03"]
    assert found(story, "balance-break") == [
        ("line:2025-04", "2025-04", "2025-06", "828.68", "paper", True)
    ]
    assert found(story, "unsupported-draw") == [
        ("line-gap-2025-04-01", "2025-05", "2025-06", "828.68", "paper", True)
    ]


def test_an_account_is_not_missed_before_its_first_statement() -> None:
    story = steady()
    story.skipped |= {("inv", "2025-01"), ("inv", "2025-02"), ("inv", "2025-03")}
    story.entries["inv"] = [one for one in story.entries["inv"] if one["date"] > "2025-03-31"]
    assert found(story, "statement-missing") == []


def test_a_limit_more_than_fifty_below_the_computed_one_is_short_in_its_month() -> None:
    story = steady()
    # Computed at the end of May: 480,000.00 less 476,678.56.
    story.limits["2025-05"] = "3271.43"
    story.limits["2025-06"] = "4110.19"
    assert found(story, "limit-short") == [
        ("line:2025-05", "2025-05", "2025-05", "50.01", "fix", False)
    ]


def test_a_limit_that_falls_while_the_mortgage_falls_is_a_cut() -> None:
    story = steady()
    story.limits = {"2025-04": "4000.00", "2025-05": "3949.99", "2025-06": "4160.19"}
    assert found(story, "limit-cut") == [
        ("line:2025-05", "2025-05", "2025-05", "50.01", "act", False)
    ]
    story.limits["2025-05"] = "3950.00"
    assert found(story, "limit-cut") == []


def test_the_limit_before_is_the_last_one_stated() -> None:
    story = steady()
    story.limits = {"2025-03": "5000.00", "2025-06": "4160.19"}
    assert found(story, "limit-cut") == [
        ("line:2025-06", "2025-06", "2025-06", "839.81", "act", True)
    ]


def test_a_limit_that_falls_with_a_standing_mortgage_is_no_cut() -> None:
    story = steady()
    story.pays_mortgage = {"2025-06": None}
    story.entries["line"] = [one for one in story.entries["line"] if one["date"] < "2025-06"]
    story.entries["inv"] = [one for one in story.entries["inv"] if one["date"] < "2025-06"]
    story.uses = story.uses[:-1]
    story.limits = {"2025-05": "4000.00", "2025-06": "3400.00"}
    assert found(story, "limit-cut") == []


def test_a_line_above_its_limit_and_a_line_at_it() -> None:
    story = steady()
    story.limits = {"2025-04": "2486.06", "2025-05": "3321.43"}
    assert found(story, "over-limit") == [("line", "2025-05", "2025-05", "0.01", "fix", False)]


def test_a_line_above_the_computed_limit() -> None:
    story = steady()
    story.draw("2025-06-10", "100.00")
    assert found(story, "over-limit") == [("line", "2025-06", "2025-06", "100.00", "fix", True)]


def test_debt_above_eighty_percent_of_the_value_and_lines_above_the_cap() -> None:
    story = steady()
    story.file["facility"]["lender_value"] = "600000.00"
    assert found(story, "cap-exceeded") == []
    story.file["facility"]["lender_value"] = "599999.90"
    # 80% is 479,999.92; mortgage and line together owe 480,000.00 all along.
    assert found(story, "cap-exceeded") == [("facility", "2025-01", "2025-06", "0.08", "fix", True)]
    story.file["facility"]["lender_value"] = "780000.00"
    story.file["facility"]["revolving_cap"] = "0.005"
    # The cap is 3,900.00; the line owes 4,160.19 in June.
    assert found(story, "cap-exceeded") == [
        ("facility", "2025-06", "2025-06", "260.19", "fix", True)
    ]


def test_a_file_with_a_line_alone_is_not_told_that_its_limit_is_short() -> None:
    story = steady()
    story.file["plan"] = None
    data = story.json()
    data["statements"] = [one for one in data["statements"] if one["account"] != "mtg"]
    statement(data, "line", "2025-06")["limit"] = "4200.00"
    report = evaluate(household_from_json(data, "x"))
    assert {one.finding.code for one in report.runs} == set()


def test_codes_of_a_quiet_year() -> None:
    assert codes(steady(14)) == set()
