"""`show_household`: a household's report from the book, as `evaluate` gives it from a file."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from datetime import UTC, datetime
from typing import Any

from django.core.management.base import BaseCommand

from config.problems import BadInput
from ledger.core.close import Report, evaluate
from ledger.core.evaluation import month_problems, through_problems
from ledger.core.report import report_json
from ledger.management.commands.load_household import refuse
from ledger.selectors.households import household_on_file
from planning.core.money import text_from_cents


class Command(BaseCommand):
    """Show a household."""

    help = "Evaluate a household of the book: the same report as evaluate on its dumped file."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the command's arguments."""
        parser.add_argument("ref", metavar="REF", help="the household's reference")
        parser.add_argument("--firm", metavar="NAME", help="the firm, when there are several")
        parser.add_argument("--through", metavar="YYYY-MM", help="last month to close")
        parser.add_argument("--json", action="store_true", help="print the whole report")

    def handle(self, **options: Any) -> None:
        """Show; exit 2 when there is no such household or the month cannot be closed."""
        through = options["through"]
        try:
            household, thresholds = household_on_file(
                ref=options["ref"], firm=options["firm"], command="show_household"
            )
            problems = month_problems(through, "show_household") or through_problems(
                household, through, "show_household", datetime.now(UTC).date()
            )
            if problems:
                raise BadInput(problems)
            report = evaluate(household, through, thresholds)
            shown = report_json(report)
        except BadInput as error:
            refuse(self, error, as_json=options["json"])
        if options["json"]:
            self.stdout.write(json.dumps(shown, indent=1, ensure_ascii=False))
        else:
            for line in _summary(report):
                self.stdout.write(line)


def _summary(report: Report) -> list[str]:
    """A household in a few lines."""
    lines = [f"{report.household.ref}, through {report.through or 'the plan only'}"]
    if report.trace is not None:
        for ref, one in report.trace.lines.items():
            eligible, unsupported, ineligible = (text_from_cents(cents) for cents in one.classes)
            balance = text_from_cents(one.balance)
            lines.append(
                f"  {ref}: balance {balance}; eligible {eligible}, "
                f"unsupported {unsupported}, ineligible {ineligible}"
            )
    lines += [
        f"  {year.year}: interest deductible {text_from_cents(year.deductible)}"
        for year in report.deductions
    ]
    for run in report.runs:
        if run.open:
            dollars = text_from_cents(run.finding.dollars_cents)
            lines.append(
                f"  {run.finding.severity}: {run.finding.code} {run.finding.key} {dollars}"
            )
    return lines
