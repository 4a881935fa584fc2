"""Closes: what each may see, digests, runs over months, the report's shape, bad input."""

from __future__ import annotations

import json
from copy import deepcopy
from datetime import date
from typing import Any

import pytest

from config.problems import BadInput
from ledger.core.close import close, evaluate
from ledger.core.drift.findings import Finding
from ledger.core.drift.lives import follow, merged
from ledger.core.drift.thresholds import Thresholds
from ledger.core.evaluation import evaluate_text
from ledger.core.facts import facts_problems
from ledger.core.report import report_json
from ledger.core.trace_adapter import view_of
from ledger.core.tracing import trace
from planning.core.household_file import household_from_json
from planning.core.plan_types import ROW_KEYS
from tests.ledger.core.random_households import random_life
from tests.ledger.core.story import Story, found, money


def eventful() -> Story:
    """A story with a missed month, a personal draw and a paper that comes late."""
    story = Story()
    story.reborrow_all()
    story.limits["2025-06"] = "9000.00"
    story.draw("2025-06-12", "500.00", use="personal", evidence=())
    story.draw("2025-05-20", "300.00", evidence=(), buys=False)
    story.uses[-1]["splits"][0]["evidence"] = [{"ref": "confirm", "on": "2025-06-20"}]
    return story


def cut_after(data: dict[str, Any], day: date) -> dict[str, Any]:
    """The file as it stood on a day, for statements that end with a month."""
    kept = deepcopy(data)
    kept["statements"] = [
        one for one in kept["statements"] if date.fromisoformat(one["ends"]) <= day
    ]
    ids = {entry["id"] for one in kept["statements"] for entry in one["entries"]}
    kept["uses"] = [one for one in kept["uses"] if one["draw"] in ids]
    return kept


def test_a_close_sees_nothing_dated_later() -> None:
    data = eventful().json()
    whole = household_from_json(data, "whole")
    for month, day in (("2025-03", date(2025, 3, 31)), ("2025-05", date(2025, 5, 31))):
        then = close(household_from_json(cut_after(data, day), "then"), month)
        now = close(whole, month)
        assert now.actual == then.actual
        assert now.variance == then.variance
        assert now.findings == then.findings
        assert now.runs == then.runs


def test_one_close_is_the_same_value_as_that_month_of_an_evaluation() -> None:
    household = eventful().household()
    report = evaluate(household)
    assert [one.month for one in report.closes] == [f"2025-{n:02d}" for n in range(1, 7)]
    for one in report.closes:
        assert close(household, one.month) == one
    assert evaluate(household, "2025-04").closes == report.closes[:4]


def test_the_digest_changes_with_what_the_close_sees_and_with_nothing_else() -> None:
    data = eventful().json()
    before = {one.month: one.digest for one in evaluate(household_from_json(data, "a")).closes}
    assert len(set(before.values())) == 6
    shuffled = deepcopy(data)
    shuffled["statements"].reverse()
    shuffled["uses"].reverse()
    shuffled["prime"][0][1] = "0.05200"
    again = evaluate(household_from_json(shuffled, "b"))
    assert {one.month: one.digest for one in again.closes} == before
    later = deepcopy(data)
    next(
        one
        for one in later["statements"]
        if one["account"] == "inv" and one["starts"] == "2025-05-01"
    )["value"] = "5000.00"
    changed = {one.month: one.digest for one in evaluate(household_from_json(later, "c")).closes}
    assert [month for month in before if before[month] != changed[month]] == ["2025-05", "2025-06"]
    strict = close(household_from_json(data, "a"), "2025-02", Thresholds(idle_days=3))
    assert strict.digest != before["2025-02"]


def test_dated_evidence_is_unknown_to_earlier_closes_and_restates_later_ones() -> None:
    report = evaluate(eventful().household())
    may, june = report.closes[4], report.closes[5]
    assert may.actual.unsupported == 30_000
    assert june.actual.unsupported == 0
    row = next(
        one
        for one in report_json(report, with_comparison=False)["lines"]["line"]["entries"]  # type: ignore[index]
        if one["date"] == "2025-05-20"
    )
    assert (row["eligible"], row["unsupported"]) == ("300.00", "0.00")


def test_variance_is_actual_less_plan_and_the_identities_hold() -> None:
    report = evaluate(eventful().household())
    for one in report.closes:
        row, plan = one.actual, one.plan
        assert plan is not None
        assert one.variance == {key: getattr(row, key) - getattr(plan, key) for key in ROW_KEYS}
        assert row.payment == row.interest + row.principal
        assert row.mortgage_closing == row.mortgage_opening - row.principal - row.prepayment
        assert row.eligible + row.unsupported + row.ineligible == row.line_closing
        assert row.line_closing == (
            row.line_opening + row.draw + row.interest_draw + row.line_interest
            - row.line_interest_paid
        )  # fmt: skip
    june = report.closes[-1]
    assert june.actual.draw == 83_875 + 50_000
    assert june.actual.limit == 900_000
    assert june.actual.room == 900_000 - june.actual.line_closing
    assert june.variance["draw"] == 50_000


def test_a_steady_household_has_no_variance_in_what_it_controls() -> None:
    story = Story()
    story.reborrow_all()
    for one in evaluate(story.household()).closes:
        for key in ("payment", "interest", "principal", "draw", "line_interest", "deductible",
                    "eligible", "contribution", "limit", "room", "room_freed"):  # fmt: skip
            assert one.variance[key] == 0, (one.month, key)


def test_principal_is_derived_from_balances_when_a_payment_states_none() -> None:
    story = Story()
    story.reborrow_all()
    stated = evaluate(story.household())
    data = story.json()
    for statement in data["statements"]:
        if statement["account"] == "mtg":
            for entry in statement["entries"]:
                entry.pop("interest")
                entry.pop("principal")
    derived = evaluate(household_from_json(data, "derived"))
    assert [one.actual for one in derived.closes] == [one.actual for one in stated.closes]
    assert [one.findings for one in derived.closes] == [one.findings for one in stated.closes]


def test_a_plan_ending_early_leaves_later_months_without_plan_and_variance() -> None:
    story = Story()
    story.reborrow_all()
    story.file["plan"]["months"] = 3
    report = evaluate(story.household())
    assert [one.plan is None for one in report.closes] == [False] * 3 + [True] * 3
    assert report.closes[-1].variance == {}


def test_the_report_has_the_published_shape() -> None:
    shown = json.loads(json.dumps(report_json(evaluate(eventful().household()))))
    assert shown["format"] == "towpath/report"
    assert shown["version"] == 1
    assert (shown["household"], shown["through"]) == ("HH-7", "2025-06")
    assert [row["month"] for row in shown["plan"]][:2] == ["2025-01", "2025-02"]
    month = shown["months"][1]
    assert set(month) == {"month", "actual", "variance", "attribution", "notes", "digest"}
    assert set(month["actual"]) == set(ROW_KEYS) == set(month["variance"])
    line = shown["lines"]["line"]
    assert set(line["entries"][0]) == {
        "id", "date", "kind", "amount", "eligible", "unsupported", "ineligible", "balance"
    }  # fmt: skip
    for name in ("eligible", "unsupported", "ineligible"):
        total = sum(round(float(one[name]) * 100) for one in line["entries"])
        assert money(total / 100) == line[name]
    assert line["targets"]["business"] == "0.00"
    year = shown["deductions"]["2025"]
    assert year["federal"] == year["provincial"] == year["deductible"]
    finding = next(one for one in shown["drift"] if one["code"] == "personal-use")
    # 500.00 x 5.70% x 43.41%.
    assert finding["cost_per_year"] == "12.37"
    assert finding["evidence"] == [finding["key"]]
    assert len(finding["remedy"]) >= 3
    assert "comparison" in shown


def test_flat_tax_saving_is_rounded_once() -> None:
    story = Story(months=3)
    story.reborrow_all()
    shown = report_json(evaluate(story.household()), with_comparison=False)
    year = shown["deductions"]["2025"]  # type: ignore[index]
    # 3.48 for 27 nights of February, 7.88 for the 31 to 31 March; times 43.41%.
    assert year["deductible"] == "11.36"
    assert year["tax_saving"] == "4.93"


def test_a_file_without_statements_gives_the_plan_alone() -> None:
    story = Story()
    data = story.json()
    data["statements"] = []
    report = evaluate_text(json.dumps(data), "plan.json")
    shown = report_json(report, with_comparison=False)
    assert len(report.plan.rows) == 12
    assert (shown["months"], shown["lines"], shown["deductions"], shown["drift"]) == (
        [], {}, {}, []
    )  # fmt: skip


def test_runs_are_unbroken_and_a_returning_trigger_is_a_second_finding() -> None:
    one = Finding("over-limit", "line", 100, "fix", "state")
    two = Finding("over-limit", "line", 250, "fix", "state")
    runs = follow([("2025-01", [one]), ("2025-02", [two]), ("2025-03", []), ("2025-04", [one])])
    assert [(r.first, r.last, r.finding.dollars_cents, r.open) for r in runs] == [
        ("2025-01", "2025-02", 250, False),
        ("2025-04", "2025-04", 100, True),
    ]


def test_two_findings_of_one_key_at_one_close_are_one() -> None:
    one = Finding("balance-break", "line:2025-01", 100, "paper", "fact", evidence=("a",))
    two = Finding("balance-break", "line:2025-01", 50, "paper", "fact", evidence=("b", "a"))
    (both,) = merged([one, two])
    assert (both.dollars_cents, both.evidence) == (150, ("a", "b"))


def test_every_finding_says_what_to_do() -> None:
    for run in evaluate(eventful().household()).runs:
        assert run.finding.remedy, run.finding.code
        for one in run.finding.remedy:
            assert one.text
            assert "{" not in one.text


@pytest.mark.parametrize(
    ("through", "words"),
    [
        ("2025-13", "no such month"),
        ("June", "is not a month"),
        ("2026-01", "lies in the future"),
        ("2024-12", "lies before the first statement"),
    ],
)
def test_a_through_that_cannot_be_closed_is_refused(through: str, words: str) -> None:
    with pytest.raises(BadInput) as caught:
        evaluate_text(json.dumps(eventful().json()), "story.json", through, date(2025, 12, 31))
    (problem,) = caught.value.problems
    assert words in problem.message
    assert problem.where == "--through"
    assert problem.remedy


def test_a_month_whose_statements_are_late_can_be_closed() -> None:
    text = json.dumps(eventful().json())
    report = evaluate_text(text, "story.json", "2025-07", date(2025, 12, 31))
    assert report.closes[-1].month == "2025-07"
    assert "statement-missing" in {one.finding.code for one in report.runs}


def test_a_tax_year_without_parameters_names_the_file_and_the_years_known() -> None:
    data = Story().json()
    data["plan"] |= {"marginal": None, "starts": "2022-01-01"}
    data["members"][0]["income"] = {"2022": "90000.00"}
    data["statements"] = data["uses"] = []
    with pytest.raises(BadInput) as caught:
        evaluate_text(json.dumps(data), "old.json")
    (problem,) = [one for one in caught.value.problems if "tax year" in one.message]
    assert (problem.file, problem.where) == ("old.json", "plan.starts")
    assert "2022 is not on file" in problem.message
    assert "2023, 2024, 2025, 2026" in problem.remedy


def test_faults_of_facts_plan_and_month_are_told_together() -> None:
    data = eventful().json()
    data["uses"][0]["splits"][0]["amount"] = "999999.00"
    data["plan"]["starts"] = "2025-01-02"
    with pytest.raises(BadInput) as caught:
        evaluate_text(json.dumps(data), "story.json", "2025-99")
    where = " ".join(one.where for one in caught.value.problems)
    assert "uses[0]" in where
    assert "plan.starts" in where
    assert "--through" in where


def test_closing_a_month_before_the_first_statement_is_refused() -> None:
    with pytest.raises(BadInput, match="before the first statement"):
        close(eventful().household(), "2024-12")


def test_a_line_that_is_paid_off_stays_quiet() -> None:
    story = Story(months=4)
    story.draw("2025-02-01", "825.35")
    story.say("line", "2025-03-01", "repayment", "825.35")
    assert found(story, "mixed-line") == []
    assert evaluate(story.household()).closes[-1].actual.line_closing == 0


@pytest.mark.parametrize("seed", range(40))
def test_ineligible_principal_by_day_ends_where_the_trace_does(seed: int) -> None:
    household = random_life(seed, lines=1 + seed % 2)
    if facts_problems(household, "x")[0]:
        pytest.skip("a life no file may tell")
    for one in evaluate(household).closes:
        view = view_of(household, trace(household, one.as_of))
        for line in view.lines.values():
            assert line.ineligible.on(one.as_of) == line.principal[2]


def test_a_leak_learned_late_opens_when_it_is_learned() -> None:
    story = Story()
    story.file["facility"] |= {"registered_limit": "510000.00", "lender_value": "800000.00"}
    story.file["plan"]["reborrow"] = None
    story.draw("2025-02-10", "9000.00", evidence=(), buys=False)
    story.uses[0]["splits"][0]["evidence"] = [{"ref": "confirm", "on": "2025-05-15"}]
    story.say("inv", "2025-03-31", "distribution", "60.00", of="return_of_capital", paid="cash")
    out = story.say("inv", "2025-04-02", "withdrawal", "60.00", to="personal")
    assert found(story, "capital-leak") == [(out, "2025-05", "2025-06", "60.00", "act", True)]


def test_money_sent_to_the_line_that_never_arrives_is_asked_about() -> None:
    story = Story(months=4)
    story.file["facility"]["registered_limit"] = "510000.00"
    story.draw("2025-02-10", "9000.00")
    story.say("inv", "2025-03-28", "withdrawal", "700.00", of="income", to="line")
    closes = evaluate(story.household()).closes
    assert [len(one.notes) for one in closes] == [0, 0, 0, 1]
    assert "700.00 left inv" in closes[-1].notes[0].text
    story.say("line", "2025-04-02", "repayment", "700.00")
    assert evaluate(story.household()).closes[-1].notes == ()
