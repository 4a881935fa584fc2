"""Every drift rule fires where it should and is silent a cent, a day or a word beside it."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.core.close import Closing, evaluate
from ledger.core.drift.thresholds import Thresholds
from planning.core.household_file import household_from_json
from tests.ledger.core.near_misses import (
    NEAR_MISSES,
    amt_exposure,
    assessed,
    codes_of,
    disclosure_stale,
    quebec_limit,
    steady,
    tax_benefit_dominates,
)
from tests.ledger.core.story import Story, found


@pytest.mark.parametrize("code", NEAR_MISSES)
def test_a_rule_fires(code: str) -> None:
    assert code in codes_of(NEAR_MISSES[code](near=False))


@pytest.mark.parametrize("code", NEAR_MISSES)
def test_a_rule_is_silent_beside_it(code: str) -> None:
    assert code not in codes_of(NEAR_MISSES[code](near=True))


# What crosses each leverage test, what does not, and the dollars of the finding in June. The
# mortgage takes 12 x 2,761.72 a year, the line 5.70% of 4,160.19: 33,140.64 + 237.13.
LEVERAGE: dict[str, tuple[dict[str, Any], dict[str, Any], str]] = {
    "net-worth": ({"net_worth": "13867.29"}, {"net_worth": "13867.30"}, "4160.19"),
    "liquid-net-worth": (
        {"liquid_net_worth": "8320.37"}, {"liquid_net_worth": "8320.38"}, "4160.19"
    ),
    "debt-service": ({"gross_income": "95365.05"}, {"gross_income": "95365.06"}, "33377.77"),
    "horizon": ({"horizon_years": 4}, {"horizon_years": 5}, "0.00"),
    "knowledge": ({"knowledge": "low"}, {"knowledge": "medium"}, "0.00"),
    "risk-tolerance": ({"risk_tolerance": "low"}, {"risk_tolerance": "medium"}, "0.00"),
}  # fmt: skip


@pytest.mark.parametrize("test", LEVERAGE)
def test_each_leverage_test_has_its_edge(test: str) -> None:
    crossed, kept, dollars = LEVERAGE[test]
    assert found(assessed(**crossed), "leverage-threshold") == [
        (f"HH-7:{test}", "2025-06", "2025-06", dollars, "act", True)
    ]
    assert found(assessed(**kept), "leverage-threshold") == []


def test_other_loans_and_payments_count() -> None:
    lent = assessed(net_worth="20000.00", other_loans="1839.82")
    assert found(lent, "leverage-threshold")[0][3] == "6000.01"
    assert found(assessed(net_worth="20000.00", other_loans="1839.81"), "leverage-threshold") == []
    paid = assessed(gross_income="100000.00", other_payments="135.19")
    assert found(paid, "leverage-threshold")[0][3] == "35000.05"
    paid = assessed(gross_income="100000.00", other_payments="135.18")
    assert found(paid, "leverage-threshold") == []


def test_the_oldest_borrower_and_no_other_member_is_asked_for_age() -> None:
    story = steady()
    story.file["members"][0]["born"] = 1965
    assert found(story, "leverage-threshold")[0][:2] == ("HH-7:age", "2025-02")
    story.file["members"][0]["born"] = 1966
    assert found(story, "leverage-threshold") == []
    story.file["members"][1]["born"] = 1950
    assert found(story, "leverage-threshold") == []


def test_nothing_borrowed_to_invest_crosses_nothing() -> None:
    story = Story()
    story.file["members"][0]["born"] = 1950
    story.file["suitability"] = {
        "assessments": [{"on": "2025-01-05", "net_worth": "-5.00", "knowledge": "low"}]
    }
    assert found(story, "leverage-threshold") == []
    story.draw("2025-06-01", "0.01")
    assert {one[0] for one in found(story, "leverage-threshold")} == {
        "HH-7:net-worth", "HH-7:knowledge", "HH-7:age"
    }  # fmt: skip


def test_a_newer_assessment_takes_the_place_of_the_older() -> None:
    story = steady()
    story.file["suitability"] = {
        "assessments": [
            {"on": "2025-03-31", "knowledge": "low"},
            {"on": "2025-05-01", "knowledge": "high"},
        ]
    }
    assert found(story, "leverage-threshold") == [
        ("HH-7:knowledge", "2025-03", "2025-04", "0.00", "act", False)
    ]


def test_a_disclosure_given_again_closes_the_finding() -> None:
    story = disclosure_stale(near=False)
    assert found(story, "disclosure-stale") == [("HH-7", "2025-06", "2025-06", "0.00", "act", True)]
    story.file["suitability"]["disclosures"].append("2025-06-30")
    assert found(story, "disclosure-stale") == []


def test_no_disclosure_is_asked_for_when_the_plan_draws_no_more() -> None:
    story = disclosure_stale(near=False)
    story.file["plan"]["months"] = 6
    assert found(story, "disclosure-stale") == []


def test_the_minimum_tax_screen_is_that_of_the_year_and_needs_an_income() -> None:
    story = amt_exposure(near=False)
    ((key, first, last, _, severity, still),) = found(story, "amt-exposure")
    assert (key, first, last, severity, still) == ("2025", "2025-06", "2025-06", "note", True)
    story.file["members"][0]["income"] = {}
    assert found(story, "amt-exposure") == []


def test_what_quebec_adds_back_is_the_shortfall_and_costs_provincial_tax() -> None:
    story = quebec_limit(near=False)
    report = evaluate(story.household())
    (run,) = (one for one in report.runs if one.finding.code == "quebec-limit")
    assert (run.finding.key, run.first, run.finding.dollars_cents) == ("2025", "2025-06", 1)
    assert run.finding.evidence == tuple(f"line-2025-0{n}-int" for n in range(2, 7))
    none = quebec_limit(near=False)
    none.entries["inv"] = [one for one in none.entries["inv"] if one["kind"] != "distribution"]
    (run,) = (one for one in evaluate(none.household()).runs if one.finding.code == "quebec-limit")
    # 24% of what is added back, at 128,000.00 of income in 2025.
    assert run.finding.cost_per_year_cents == round(run.finding.dollars_cents * 0.24)
    none.file["members"][0]["province"] = "ON"
    assert found(none, "quebec-limit") == []


def test_a_plan_led_by_tax_is_told_in_its_months_under_the_mark_of_its_version() -> None:
    story = tax_benefit_dominates(near=False)
    ((key, first, last, _, _, _),) = found(story, "tax-benefit-dominates")
    assert (first, last, len(str(key))) == ("2025-01", "2025-06", 12)
    figures = Closing(story.household()).purpose
    assert figures is not None
    assert figures.tax_cents - figures.nontax_cents == _dollars(story)
    story.file["plan"]["investment"]["growth"] = "0.1200"
    assert found(story, "tax-benefit-dominates")[0][0] != key
    story.file["plan"]["reborrow"] = None
    assert found(story, "tax-benefit-dominates") == []


def _dollars(story: Story) -> int:
    (run,) = (
        one
        for one in evaluate(story.household()).runs
        if one.finding.code == "tax-benefit-dominates"
    )
    return run.finding.dollars_cents


def test_a_record_dated_later_is_not_seen_by_an_earlier_close() -> None:
    """Gains, assessments and disclosures leave the digests of the months before them alone."""
    before = {one.month: one.digest for one in evaluate(steady().household()).closes}
    changed = steady()
    changed.file["suitability"] = {
        "assessments": [{"on": "2025-05-20", "knowledge": "low"}],
        "disclosures": ["2025-06-01"],
    }
    changed.file["members"][0]["gains"] = [{"on": "2025-05-31", "amount": "10.00"}]
    after = {one.month: one.digest for one in evaluate(changed.household()).closes}
    moved = [month for month, digest in after.items() if before[month] != digest]
    assert moved == ["2025-05", "2025-06"]


def test_a_firms_threshold_moves_the_edge() -> None:
    story = steady()
    story.limits["2025-06"] = "4210.18"
    closing = Closing(story.household(), Thresholds(missed_reborrow_cents=4_999))
    assert "missed-reborrow" in {one.code for one in closing.findings("2025-06")}
    story.values["2025-06"] = "4160.19"
    strict = Closing(
        story.household(), Thresholds(underwater_note=Thresholds().underwater_note * 2)
    )
    (under,) = (one for one in strict.findings("2025-06") if one.code == "underwater")
    assert (under.dollars_cents, under.severity) == (0, "note")


def test_suitability_is_read_strictly() -> None:
    data = steady().json()
    data["suitability"] = {"assessments": [], "disclosures": ["2025-01-02", "2025-03-02"]}
    assert len(household_from_json(data, "x").suitability.disclosures) == 2
