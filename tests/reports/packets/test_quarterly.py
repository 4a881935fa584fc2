"""The quarterly packet's data: golden snapshot, arithmetic, order, refusals, empty cases."""

from __future__ import annotations

import json
import os
from datetime import date
from pathlib import Path

import pytest

from config.problems import BadInput
from planning.core.money import cents_from_text
from reports.packets.period import Quarter, read_quarter
from reports.packets.quarterly import default_as_of, quarterly_data, quarterly_input_digest
from tests.reports import sample

GOLDEN = Path(__file__).parent / "golden" / "quarterly.json"
AS_OF = date(2026, 10, 10)


def packet(household=None, report=None, language="en"):
    """The sample's packet for the third quarter of 2026."""
    return quarterly_data(
        household or sample.household(), report or sample.report(), 2026, 3, language, AS_OF
    )


def test_golden():
    """REGENERATE_GOLDEN=1 writes the file anew; read the difference before committing it."""
    shown = json.dumps(packet(), indent=1, ensure_ascii=False) + "\n"
    if os.environ.get("REGENERATE_GOLDEN"):
        GOLDEN.write_text(shown, encoding="utf-8")
    assert json.loads(shown) == json.loads(GOLDEN.read_text(encoding="utf-8"))


def test_snapshot_survives_json():
    data = packet()
    assert json.loads(json.dumps(data)) == data


def test_totals_count_a_mixed_line_once_and_no_renewal_balance():
    summary = packet()["summary"]
    assert summary["dollars"] == "5812.34"  # 3000.00 + 812.34 + 2000.00
    by_name = {row["severity"]: row for row in summary["severities"]}
    assert (by_name["act"]["count"], by_name["act"]["dollars"]) == (2, "3000.00")
    assert (by_name["note"]["count"], by_name["note"]["dollars"]) == (1, "0.00")


def test_first_page_leaves_out_what_another_step_cures():
    codes = [step["code"] for step in packet()["summary"]["steps"]]
    assert codes == ["mixed-line", "missed-reborrow", "unsupported-draw", "renewal-due"]


def test_by_when():
    by = {step["code"]: step["by"] for step in packet()["findings"]}
    assert by["mixed-line"] == "2026-10-17"
    assert by["missed-reborrow"] == "2026-10-24"
    assert by["unsupported-draw"] == "2026-11-09"
    assert by["renewal-due"] == "2027-03-15"


def test_causes_add_up_to_the_gap():
    deductible = packet()["deductible"]
    for row in (*deductible["rows"], deductible["quarter"], deductible["year"]):
        parts = sum(cents_from_text(amount) for amount in row["causes"].values())
        assert parts == cents_from_text(row["gap"])


def test_instructions_reborrow_what_each_payment_frees():
    rows = packet()["instructions"]
    catch_up = [row for row in rows if row["kind"] == "catch-up"]
    assert [(row["date"], row["amount"]) for row in catch_up] == [("2026-10-10", "812.34")]
    draws = [row for row in rows if row["kind"] == "reborrow"]
    assert [row["date"] for row in draws] == ["2026-10-15", "2026-11-15", "2026-12-15"]
    assert all(row["amount"] == row["freed"] for row in draws)
    # 4.80 % semi-annually compounded: i = 1.024^(1/6) - 1 = 0.00396058; A = 2,281.09 on
    # 400,000.00 over 300 months; October's interest on 397,900.00 is 1,575.91.
    assert draws[0]["amount"] == "705.18"
    assert [row["date"] for row in rows if row["kind"] == "interest"][-1] == "2026-12-31"


def test_holds_and_records():
    data = packet()
    assert data["holds"] == ["mixed-line"]
    assert [(row["what"], row["where"]) for row in data["records"]] == [
        ("use", "line: line-2026-08-1")
    ]


def test_renewals_within_a_year_with_the_planned_rate():
    assert packet()["renewals"] == [
        {
            "mortgage": "mtg",
            "matures": "2027-03-15",
            "days": 166,
            "kind": "fixed",
            "rate": "0.0480",
            "planned_rate": "0.0450",
            "balance": "397900.00",
        }
    ]


def test_settled_in_the_quarter_is_listed_apart():
    data = packet()
    assert [one["code"] for one in data["settled"]] == ["rate-off-plan"]
    assert "rate-off-plan" not in [one["code"] for one in data["findings"]]


def test_nothing_drifted():
    data = packet(report=sample.report(drift=[]))
    assert data["summary"]["severities"] == []
    assert data["summary"]["dollars"] == "0.00"
    assert data["holds"] == []
    assert [row["kind"] for row in data["instructions"]][:2] == ["reborrow", "interest"]


def test_without_a_plan():
    data = packet(sample.household(plan=None), sample.report(plan=[]))
    assert not data["has_plan"]
    assert data["holds"] == ["no-plan"]
    assert data["instructions"] == []
    assert data["deductible"]["quarter"]["gap"] is None
    assert data["summary"]["figures"]["line"] == {"plan": None, "actual": "6000.00", "gap": None}


def test_after_the_plans_last_month():
    short = sample.file()["plan"] | {"months": 3, "renewals": []}
    data = packet(sample.household(plan=short))
    assert "plan-ended" in data["holds"]
    assert [row["kind"] for row in data["instructions"]] == ["catch-up"]


def test_digest_changes_with_every_input():
    household, report = sample.household(), sample.report()
    base = quarterly_input_digest(household, report, 2026, 3, "en", AS_OF)
    same = quarterly_input_digest(sample.household(), sample.report(), 2026, 3, "en", AS_OF)
    others = {
        quarterly_input_digest(household, report, 2026, 3, "fr", AS_OF),
        quarterly_input_digest(household, report, 2026, 3, "en", date(2026, 10, 11)),
        quarterly_input_digest(household, sample.report(drift=[]), 2026, 3, "en", AS_OF),
        quarterly_input_digest(sample.household(uses=[]), report, 2026, 3, "en", AS_OF),
    }
    assert base == same
    assert base not in others
    assert len(others) == 4


def test_refuses_an_open_month_another_household_and_another_end():
    months = sample.report()["months"]
    with pytest.raises(BadInput) as caught:
        packet(report=sample.report(months=months[:2], household="HH-0999", through="2026-08"))
    told = "\n".join(str(problem) for problem in caught.value.problems)
    assert "another household" in told
    assert "runs through 2026-08" in told
    assert "2026-09: the month is not closed" in told
    assert len(caught.value.problems) == 3


def test_refuses_a_language_it_does_not_speak():
    with pytest.raises(BadInput, match="Use en or fr"):
        packet(language="de")


@pytest.mark.parametrize("text", ["2026-Q0", "2026-Q5", "26-Q1", "2026", "Q1-2026", "2026-Q1x", ""])
def test_quarters_that_are_none(text):
    with pytest.raises(BadInput, match="2026-Q3"):
        read_quarter(text)


def test_quarters():
    assert read_quarter("2026-q3") == Quarter(2026, 3)
    assert Quarter(2026, 4).following == Quarter(2027, 1)
    assert Quarter(2026, 1).months == ("2026-01", "2026-02", "2026-03")
    assert default_as_of(Quarter(2026, 4)) == date(2027, 1, 10)
