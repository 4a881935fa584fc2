"""The report as JSON, key by key and string by string, on random books."""

from __future__ import annotations

import json
import re
from decimal import Decimal
from typing import Any

import pytest

from ledger.core.close import evaluate, latest_month
from ledger.core.report import report_json
from planning.core.months import months_between
from planning.core.types import Household
from tests.ledger.core.random_books import random_book
from tests.ledger.core.random_households import random_life

ROW = (
    "mortgage_opening", "payment", "interest", "principal", "prepayment", "mortgage_closing",
    "room_freed", "draw", "interest_draw", "line_opening", "line_interest",
    "line_interest_paid", "line_closing", "eligible", "unsupported", "ineligible",
    "deductible", "contribution", "growth", "distribution", "portfolio_closing", "refund",
    "limit", "room", "refused", "dam_draw",
)  # fmt: skip
ENTRY = ["id", "date", "kind", "amount", "eligible", "unsupported", "ineligible", "balance"]
LINE = ["balance", "eligible", "unsupported", "ineligible", "unpaid_interest", "targets", "entries"]
YEAR = ["posted", "paid", "deductible", "unsupported", "ineligible", "compound", "federal",
        "provincial", "tax_saving"]  # fmt: skip
FINDING = ["code", "key", "first", "last", "dollars", "cost_per_year", "severity", "open"]
CLASSES = ("eligible", "unsupported", "ineligible")
AMOUNT = re.compile(r"(?!-0\.00)-?(0|[1-9]\d*)\.\d\d")
MONTH = re.compile(r"\d{4}-\d{2}")
DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
HOUSEHOLDS = [
    *(random_book(seed) for seed in range(2000, 2008)),
    *(random_life(seed, lines=1 + seed % 2) for seed in range(100, 104)),
]


REPORTS: dict[str, dict[str, Any]] = {}


def shown(household: Household) -> dict[str, Any]:
    """The report as a reader of its JSON gets it; worked out once for each household."""
    if household.ref not in REPORTS:
        text = json.dumps(report_json(evaluate(household), with_comparison=False))
        REPORTS[household.ref] = json.loads(text)
    return REPORTS[household.ref]


def amounts(found: dict[str, str]) -> dict[str, Decimal]:
    """A mapping of amounts, each written as an amount is."""
    for name, text in found.items():
        assert AMOUNT.fullmatch(text), (name, text)
    return {name: Decimal(text) for name, text in found.items()}


@pytest.mark.parametrize("household", HOUSEHOLDS, ids=lambda one: one.ref)
def test_the_report_is_written_as_published(household: Household) -> None:
    report = shown(household)
    first = f"{min(one.starts for one in household.statements):%Y-%m}"
    assert (report["format"], report["version"]) == ("towpath/report", 1)
    assert report["household"] == household.ref
    assert report["through"] == latest_month(household)
    assert [one["month"] for one in report["months"]] == list(
        months_between(first, report["through"])
    )
    planned = {one["month"] for one in report["plan"]}
    for row in report["plan"]:
        assert list(row) == ["month", *ROW]
        amounts({name: row[name] for name in ROW})
    for one in report["months"]:
        assert list(amounts(one["actual"])) == list(ROW)
        assert list(amounts(one["variance"])) == (list(ROW) if one["month"] in planned else [])
        for causes in one["attribution"].values():
            amounts(causes)
        assert re.fullmatch(r"[0-9a-f]{64}", one["digest"])
    for run in report["drift"]:
        assert list(run)[: len(FINDING)] == FINDING
        amounts({name: run[name] for name in ("dollars", "cost_per_year")})
        assert Decimal(run["dollars"]) >= 0
        assert MONTH.fullmatch(run["first"])
        assert MONTH.fullmatch(run["last"])
        assert run["first"] <= run["last"] <= report["through"]
        assert run["open"] is (run["last"] == report["through"])
        assert run["severity"] in {"act", "fix", "paper", "note"}


@pytest.mark.parametrize("household", HOUSEHOLDS, ids=lambda one: one.ref)
def test_lines_and_entries_add_up_as_published(household: Household) -> None:
    report = shown(household)
    assert list(report["lines"]) == [one.ref for one in household.lines]
    for ref, line in report["lines"].items():
        assert list(line) == LINE
        unpaid, targets = amounts(line["unpaid_interest"]), amounts(line["targets"])
        assert list(unpaid) == list(CLASSES)
        held = amounts({name: line[name] for name in ("balance", *CLASSES)})
        assert sum(targets.values()) == held["eligible"] - unpaid["eligible"]
        sums = dict.fromkeys(CLASSES, Decimal(0))
        day, balance = "", Decimal(0)
        stated = {one.id: one for s in household.statements_of(ref) for one in s.entries}
        for row in line["entries"]:
            assert list(row) == ENTRY
            assert DAY.fullmatch(row["date"])
            assert day <= row["date"]
            day = row["date"]
            parts = amounts({name: row[name] for name in ENTRY[3:]})
            assert parts["amount"] >= 0
            change = sum(parts[name] for name in CLASSES)
            for name in CLASSES:
                sums[name] += parts[name]
            if row["kind"] == "reclass":
                assert change == 0
                assert parts["balance"] == balance
                assert parts["ineligible"] == parts["amount"] == -parts["eligible"]
            elif row["id"] in stated:
                entry = stated.pop(row["id"])
                assert (row["kind"], parts["amount"]) == (
                    entry.kind, Decimal(entry.amount_cents) / 100
                )  # fmt: skip
                sign = -1 if entry.kind == "repayment" else 1
                assert parts["balance"] - balance == sign * parts["amount"]
            else:
                implied = rf"{re.escape(ref)}-(opening|gap-{DAY.pattern}|break-{DAY.pattern})"
                assert re.fullmatch(implied, row["id"])
                assert row["kind"] in {"opening", "adjustment"}
                assert abs(parts["balance"] - balance) == parts["amount"] != 0
            if row["kind"] == "repayment":
                assert all(parts[name] <= 0 for name in CLASSES)
            balance = parts["balance"]
        assert not stated
        assert sums == {name: held[name] for name in CLASSES}
        assert balance == held["balance"]
        if balance >= 0:
            assert sum(sums.values()) == balance


@pytest.mark.parametrize("household", HOUSEHOLDS, ids=lambda one: one.ref)
def test_deductions_are_written_as_published(household: Household) -> None:
    report = shown(household)
    starts = min(
        s.starts.year for line in household.lines for s in household.statements_of(line.ref)
    )
    years = range(starts, int(report["through"][:4]) + 1)
    assert list(report["deductions"]) == [str(year) for year in years]
    deducted = posted = Decimal(0)
    for year, texts in report["deductions"].items():
        found = amounts(texts)
        assert list(found) == YEAR
        interest = sum(
            one.amount_cents
            for line in household.lines
            for s in household.statements_of(line.ref)
            for one in s.entries
            if one.kind == "interest" and str(one.date.year) == year
        )
        assert found["posted"] == Decimal(interest) / 100
        by_class = found["deductible"] + found["unsupported"] + found["ineligible"]
        if household.facility.interest_method == "paid":
            assert by_class == found["paid"]
        assert found["compound"] <= found["deductible"]
        deducted, posted = deducted + found["deductible"], posted + found["posted"]
        assert deducted <= posted
