"""The household report as JSON: format "towpath/report", version 1."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import timedelta

from ledger.core.close import MonthClose, Report
from ledger.core.deductions import DeductionYear
from ledger.core.digest import ENGINE
from ledger.core.drift.findings import Step
from ledger.core.drift.lives import FindingRun
from ledger.core.trace_adapter import line_rows, opening_classes
from ledger.core.trace_view import LineView
from planning.core.comparison import comparison
from planning.core.money import text_from_cents
from planning.core.plan_types import ROW_KEYS, PlanRow, row_json
from planning.core.types import CLASSES

FORMAT = "towpath/report"
VERSION = 1


def report_json(
    report: Report, *, with_comparison: bool = True, with_history: bool = False
) -> dict[str, object]:
    """The report as its JSON value, keys in a fixed order, amounts as decimal strings.

    `with_comparison` adds the plan's comparison with the ordinary mortgage and
    with prepayments, its loss cases beside it; `with_history` adds to it the
    replays of history and the projection (half a minute or more for long plans).
    """
    shown: dict[str, object] = {
        "format": FORMAT,
        "version": VERSION,
        "household": report.household.ref,
        "through": report.through,
        "engine": ENGINE,
        "plan": [row_json(row) for row in report.plan.rows],
        "months": [month_json(one) for one in report.closes],
        "lines": lines_json(report),
        "deductions": {str(one.year): deduction_json(one) for one in report.deductions},
        "drift": [run_json(one) for one in report.runs],
        "warnings": list(report.warnings),
    }
    if with_comparison and report.household.plan is not None:
        traced = opening_classes(report.household, report.household.plan.starts - timedelta(days=1))
        compared = comparison(report.household, report.plan, traced)
        if with_history:
            # They bring arrays and sixty years of months, which a plain report starts without.
            from planning.core.history import history
            from planning.core.monte_carlo import monte_carlo

            compared["history"] = history(report.household, traced)
            compared["chance"] = monte_carlo(report.household, traced)
        shown["comparison"] = compared
    return shown


def month_json(close: MonthClose) -> dict[str, object]:
    """One month: actual row, variance, attribution, notes, digest."""
    return {
        "month": close.month,
        "actual": amounts_json(close.actual),
        "variance": {key: text_from_cents(cents) for key, cents in close.variance.items()},
        "attribution": {
            measure: {cause: text_from_cents(cents) for cause, cents in causes.items()}
            for measure, causes in close.attribution.items()
        },
        "notes": [one.text for one in close.notes],
        "digest": close.digest,
    }


def amounts_json(row: PlanRow) -> dict[str, str]:
    """A row's amounts by key; the month stands beside them."""
    return {key: text_from_cents(getattr(row, key)) for key in ROW_KEYS}


def lines_json(report: Report) -> dict[str, object]:
    """Every line with a statement, as known at the end of `through`."""
    if report.view is None or report.trace is None:
        return {}
    return {
        ref: classes_json(view) | {"entries": line_rows(report.trace, ref)}
        for ref, view in report.view.lines.items()
    }


def classes_json(view: LineView) -> dict[str, object]:
    """A line's balance by class, unpaid interest and targets, without its entries."""
    by_class = {
        name: view.principal[index] + view.unpaid[index] for index, name in enumerate(CLASSES)
    }
    return {
        "balance": text_from_cents(view.balance),
        **{name: text_from_cents(cents) for name, cents in by_class.items()},
        "unpaid_interest": _texts(dict(zip(CLASSES, view.unpaid, strict=True))),
        "targets": _texts(view.targets),
    }


def _texts(amounts: Mapping[str, int]) -> dict[str, str]:
    return {name: text_from_cents(cents) for name, cents in amounts.items()}


def deduction_json(one: DeductionYear) -> dict[str, str]:
    """A year's deduction; `pool` only where the province limits what is deducted."""
    keys = [field.name for field in fields(one) if field.name != "year"]
    amounts = {key: getattr(one, key) for key in keys}
    return {key: text_from_cents(cents) for key, cents in amounts.items() if cents is not None}


def run_json(run: FindingRun) -> dict[str, object]:
    """A finding with its first and last month, evidence and remedy."""
    finding = run.finding
    return {
        "code": finding.code,
        "key": finding.key,
        "first": run.first,
        "last": run.last,
        "dollars": text_from_cents(finding.dollars_cents),
        "cost_per_year": text_from_cents(finding.cost_per_year_cents),
        "severity": finding.severity,
        "open": run.open,
        "life": finding.life,
        "evidence": list(finding.evidence),
        "remedy": [one.text for one in finding.remedy],
        "steps": [step_json(one) for one in finding.remedy],
    }


def step_json(one: Step) -> dict[str, object]:
    """A remedy step taken apart, so that a page can say it in another language."""
    return {
        "template": one.template,
        "values": {
            name: text_from_cents(value) if isinstance(value, int) else value
            for name, value in one.values
        },
    }
