"""`tax`: one person's tax with and without a deduction, and the saving."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from dataclasses import replace
from typing import Any

from django.core.management.base import BaseCommand

from config.problems import BadInput, Problem
from planning.core.money import cents_from_text, text_from_cents
from planning.core.tax.engine import Income, Tax, marginal_rates, tax
from planning.core.tax.parameters import JURISDICTIONS, known_years, parameters

_AMOUNTS = (
    ("income", "income_cents", "ordinary income, employment or pension"),
    ("interest", "interest_cents", "interest income"),
    ("deduction", "deduction_cents", "interest expense deducted"),
    ("eligible-dividends", "eligible_cents", "eligible dividends, actual amount"),
    ("other-dividends", "other_cents", "other than eligible dividends, actual amount"),
    ("capital-gain", "gain_cents", "capital gain, whole amount"),
)


class Command(BaseCommand):
    """Print the tax before and after a deduction as JSON."""

    help = "Tax of one person for one year, before and after an interest deduction."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the command's arguments."""
        parser.add_argument("province", help="two letters, such as ON")
        parser.add_argument("year", help="a tax year on file")
        for name, dest, text in _AMOUNTS:
            parser.add_argument(f"--{name}", dest=dest, default="0", help=text)
        parser.add_argument("--quebec-limit", choices=("on", "off"), default="on")
        parser.add_argument("--low-income-reductions", action="store_true")
        parser.add_argument("--json", action="store_true", help="JSON is the only form; accepted")

    def handle(self, **options: Any) -> None:
        """Compute and print; exit 2 with every problem when the input is bad."""
        try:
            self.stdout.write(json.dumps(answer(options), indent=2))
        except BadInput as error:
            for problem in error.problems:
                self.stderr.write(str(problem))
            raise SystemExit(2) from error


def answer(options: dict[str, Any]) -> dict[str, Any]:
    """The command's JSON object. Raises BadInput with every wrong argument."""
    problems: list[Problem] = []
    province = str(options["province"]).upper()
    if province not in JURISDICTIONS:
        problems.append(
            Problem(
                "tax",
                "province",
                f"{options['province']!r} is not a province or territory",
                f"Use one of: {', '.join(JURISDICTIONS)}",
            )
        )
    year = str(options["year"])
    if not year.isdigit() or int(year) not in known_years():
        problems.append(
            Problem(
                "tax",
                "year",
                f"tax year {year!r} is not on file",
                f"Years known: {', '.join(map(str, known_years()))}",
            )
        )
    amounts: dict[str, int] = {}
    for name, dest, _ in _AMOUNTS:
        try:
            amounts[dest] = cents_from_text(str(options[dest]))
            if amounts[dest] < 0:
                raise ValueError
        except ValueError:
            problems.append(
                Problem(
                    "tax",
                    f"--{name}",
                    f"{options[dest]!r} is not an amount",
                    "Write dollars and cents, zero or more, such as 128000.00",
                )
            )
    if problems:
        raise BadInput(problems)
    after = Income(
        ordinary_cents=amounts["income_cents"],
        interest_cents=amounts["interest_cents"],
        eligible_dividends_cents=amounts["eligible_cents"],
        other_dividends_cents=amounts["other_cents"],
        capital_gain_cents=amounts["gain_cents"],
        deduction_cents=amounts["deduction_cents"],
    )
    before = replace(after, deduction_cents=0)
    law = parameters(int(year))
    reductions = bool(options["low_income_reductions"])
    taxes = [
        tax(
            law,
            province,
            one,
            quebec_limit=options["quebec_limit"] == "on",
            low_income_reductions=reductions,
        )
        for one in (before, after)
    ]
    rates = marginal_rates(law, province, before, low_income_reductions=reductions)
    return {
        "before": _parts(taxes[0]),
        "after": _parts(taxes[1]),
        "saving": text_from_cents(taxes[0].total_cents - taxes[1].total_cents),
        "marginal": {kind: f"{float(rate):.4f}" for kind, rate in rates.items()},
    }


def _parts(one: Tax) -> dict[str, str]:
    return {
        "federal": text_from_cents(one.federal_cents),
        "abatement": text_from_cents(one.abatement_cents),
        "provincial": text_from_cents(one.provincial_cents),
        "surtax": text_from_cents(one.surtax_cents),
        "health_premium": text_from_cents(one.health_premium_cents),
        "total": text_from_cents(one.total_cents),
    }
