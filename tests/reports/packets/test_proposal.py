"""The proposal's data: golden snapshot, the comparison's own figures, loss cases, refusals."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from config.problems import BadInput
from ledger.core.close import evaluate
from ledger.core.report import report_json
from planning.core import history as core_history
from planning.core import monte_carlo as core_chance
from planning.core.comparison import comparison
from planning.core.comparison_cases import with_growth
from planning.core.household_file import household_from_json
from planning.core.money import cents_from_text
from planning.core.plan import run_plan
from planning.core.plan_types import OpeningClasses
from reports.packets import proposal_words
from reports.packets.proposal import (
    PATHS,
    SEED,
    PlanOnFile,
    proposal_data,
    proposal_input_digest,
)
from tests.reports import sample

GOLDEN = Path(__file__).parent / "golden" / "proposal.json"
SAMPLES = Path(__file__).resolve().parents[2] / "samples"
AS_OF = date(2026, 6, 20)
ON_FILE = PlanOnFile(3, "ab" * 32, date(2026, 6, 15))
LEADS = ("lead_over_ordinary", "lead_over_prepayments")


def from_samples(name):
    """One of the shared sample households."""
    path = SAMPLES / f"{name}.json"
    return household_from_json(json.loads(path.read_text("utf-8")), path.name)


def by_returns():
    """The sample household taxed by its member's own returns, with portfolio income."""
    file = sample.file()
    file["lines"][0]["claimant"] = "m1"
    file["plan"]["marginal"] = None
    file["plan"]["investment"]["yields"] = {"eligible_dividend": "0.0300", "foreign": "0.0050"}
    return household_from_json(file, "returns.json")


HOUSEHOLDS = {
    "sample": sample.household,
    "returns": by_returns,
    "distributions": lambda: from_samples("distributions-and-leaks"),
    "dam": lambda: from_samples("rental-dam"),
}


@pytest.fixture(scope="module", params=HOUSEHOLDS)
def made(request):
    """A household and its proposal."""
    household = HOUSEHOLDS[request.param]()
    return household, proposal_data(household, ON_FILE, "en", AS_OF)


def test_golden():
    """REGENERATE_GOLDEN=1 writes the file anew; read the difference before committing it."""
    data = proposal_data(sample.household(), ON_FILE, "en", AS_OF)
    shown = json.dumps(data, indent=1, ensure_ascii=False) + "\n"
    if os.environ.get("REGENERATE_GOLDEN"):
        GOLDEN.write_text(shown, encoding="utf-8")
    assert json.loads(shown) == json.loads(GOLDEN.read_text(encoding="utf-8"))
    assert json.loads(shown) == data


def test_figures_are_those_that_evaluate_prints(made):
    household, data = made
    compared = report_json(evaluate(household))["comparison"]
    assert data["gaar"] == compared["gaar"]
    assert data["losses"]["break_even"] == compared["break_even"]
    for name, case in (("rates", "rates"), ("last_day", "returns"), ("both", "both")):
        for lead in LEADS:
            assert data["losses"][name][lead] == compared["loss_cases"][case][lead]
    for name in ("plan", "ordinary", "prepayments", "cash_paid_in", *LEADS):
        assert data["worth"][name] == compared[name]
    assert data["paid_off"] == compared["conversion"]


def test_history_and_chance_are_the_cores(made):
    household, data = made
    replayed = core_history.history(household, every=12)
    assert data["history"]["summary"] == replayed["summary"]
    assert data["history"]["starts"] == replayed["starts"]
    drawn = core_chance.monte_carlo(household, paths=PATHS, seed=SEED)
    assert data["chance"] == drawn
    assert (data["chance"]["seed"], data["chance"]["paths"]) == ("20261125", "10000")


def test_the_worst_month_is_the_least_lead_of_all_year_ends(made):
    household, data = made
    found = []
    for index, row in enumerate(run_plan(household).rows):
        if row.month.endswith("-12") or index == household.plan.months - 1:
            plan = replace(household.plan, months=index + 1)
            shorter = replace(household, plan=plan)
            compared = comparison(shorter, run_plan(shorter), break_even=False)
            fallen = compared["loss_cases"]["returns"]
            found.append((cents_from_text(fallen["lead_over_ordinary"]), row.month, fallen))
    lead, month, fallen = min(found, key=lambda one: one[0])
    worst = data["losses"]["worst_month"]
    assert (worst["month"], cents_from_text(worst["lead_over_ordinary"])) == (month, lead)
    assert worst["lead_over_prepayments"] == fallen["lead_over_prepayments"]
    assert worst["portfolio"] == fallen["plan"]["portfolio"]
    below = cents_from_text(fallen["plan"]["line"]) - cents_from_text(fallen["plan"]["portfolio"])
    assert cents_from_text(worst["below_line"]) == max(0, below)


def test_a_flat_decade_of_a_short_plan_is_no_growth_at_all(made):
    household, data = made
    still = with_growth(household, Decimal(0))
    compared = comparison(still, run_plan(still), break_even=False)
    flat = data["losses"]["flat_decade"]
    assert flat["months"] == str(household.plan.months)
    assert [flat[lead] for lead in LEADS] == [compared[lead] for lead in LEADS]


def test_debts_add_up_and_end_where_the_plan_ends(made):
    household, data = made
    rows = {row.month: row for row in run_plan(household).rows}
    for row in data["debts"]:
        parts = cents_from_text(row["non_deductible"]) + cents_from_text(row["deductible_use"])
        assert parts == cents_from_text(row["total"])
        of_plan = rows[row["month"]]
        assert parts == of_plan.mortgage_closing + of_plan.line_closing
    assert data["debts"][-1]["month"] == data["worth"]["horizon"]
    figures = {one["what"]: one for one in data["figures"]}
    assert figures["worth"]["gap"] == data["worth"]["lead_over_ordinary"]
    assert figures["debt"]["plan"] == data["debts"][-1]["total"]


def test_tax_rows_are_the_plans_own(made):
    household, data = made
    years = run_plan(household).years
    rows = data["tax"]["rows"]
    assert [cents_from_text(row["saving"]) for row in rows] == [one.saving for one in years]
    for row in rows:
        less, more = ("before", "after") if "before" in row else ("relief", "on_income")
        gap = cents_from_text(row[less]) - cents_from_text(row[more])
        assert gap == cents_from_text(row["saving"])
    expected = "returns" if household.plan.marginal is None else "flat"
    assert data["tax"]["method"] == expected


def test_own_cash_by_month():
    cash = proposal_data(sample.household(), ON_FILE, "en", AS_OF)["cash"]
    assert len(cash["rows"]) == 12
    for row in (*cash["rows"], cash["sums"]):
        cents = {key: cents_from_text(value) for key, value in row.items() if key != "month"}
        spent = cents["payment"] + cents["prepayment"] + cents["contribution"]
        spent += cents["line_interest_paid"] - cents["drawn"] - cents["refund"]
        assert spent == cents["own"]


def test_instructions_and_renewals():
    data = proposal_data(sample.household(), ON_FILE, "en", AS_OF)
    assert [(row["date"], row["kind"]) for row in data["instructions"]][:3] == [
        ("2026-07-15", "payment"),
        ("2026-07-15", "reborrow"),
        ("2026-07-31", "interest"),
    ]
    assert max(row["date"] for row in data["instructions"]) <= "2026-09-30"
    (renewal,) = data["renewals"]
    assert (renewal["on"], renewal["kind"]) == ("2027-03-15", "planned")
    assert (renewal["rate_before"], renewal["rate"]) == ("0.0480", "0.0450")
    before, after = (cents_from_text(renewal[f"payment_{one}"]) for one in ("before", "after"))
    assert after < before < cents_from_text(renewal["payment_shocked"])


def digest(household=None, on_file=ON_FILE, language="en", traced=None, every=12):
    """The inputs' digest of the sample's proposal."""
    return proposal_input_digest(
        household or sample.household(), on_file, language, AS_OF, traced, every
    )


def test_later_statements_change_no_proposal_but_a_plan_does():
    first = digest()
    assert digest(sample.household(statements=[], uses=[])) == first
    opening = OpeningClasses(100, 0, 0, (("inv", 100),))
    others = {
        digest(on_file=replace(ON_FILE, number=4)),
        digest(language="fr"),
        digest(every=1),
        digest(traced={"line": opening}),
        digest(sample.household(plan=sample.file()["plan"] | {"inflation": "0.03"})),
    }
    assert len(others) == 5
    assert first not in others


def test_every_fault_with_its_remedy():
    with pytest.raises(BadInput) as caught:
        proposal_data(sample.household(plan=None), ON_FILE, "de", AS_OF, every=0)
    told = [str(one) for one in caught.value.problems]
    assert len(told) == 3
    assert "load_household" in told[0]
    assert "Use en or fr" in told[1]
    assert "1 or more" in told[2]


def test_the_starts_can_be_watched():
    seen = []

    def watch(starts):
        for one in starts:
            seen.append(one)
            yield one

    data = proposal_data(sample.household(), ON_FILE, "en", AS_OF, every=240, watch=watch)
    assert seen == [one["start"] for one in data["history"]["starts"]]
    assert len(seen) == 4


def test_the_cores_cautions_are_said_in_both_languages_words():
    said = (*proposal_words.HISTORY_CAUTIONS, *proposal_words.CHANCE_CAUTIONS)
    assert core_history.CAUTIONS[0] in said
    assert core_chance.CAUTIONS[0] in said
