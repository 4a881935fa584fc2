"""`tax`: one person's tax with and without a deduction, and the saving."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from dataclasses import replace
from fractions import Fraction
from typing import Any

from django.core.management.base import BaseCommand

from config.problems import BadInput, Problem
from planning.core.money import cents_from_text, round_half_up, text_from_cents
from planning.core.tax.amt import Screen, screen
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
        """Declare the command's arguments.

        All are read as text and checked together, so that every wrong one is
        named at once.
        """
        parser.add_argument("province", nargs="?", help="two letters, such as ON")
        parser.add_argument("year", nargs="?", help="a tax year on file")
        for name, dest, text in _AMOUNTS:
            parser.add_argument(f"--{name}", dest=dest, help=text)
        parser.add_argument(
            "--quebec-limit",
            default="on",
            metavar="on|off",
            help="Québec's limit on investment expenses (on by default)",
        )
        parser.add_argument(
            "--low-income-reductions",
            action="store_true",
            help="count Ontario's and British Columbia's reductions for small incomes",
        )
        parser.add_argument(
            "--minimum-tax", action="store_true", help="add a screen for alternative minimum tax"
        )
        parser.add_argument(
            "--json", action="store_true", help="also print problems as JSON on standard output"
        )

    def handle(self, **options: Any) -> None:
        """Compute and print; exit 2 with every problem when the input is bad."""
        try:
            self.stdout.write(json.dumps(answer(options), indent=2))
        except BadInput as error:
            for problem in error.problems:
                self.stderr.write(str(problem))
            if options["json"]:
                self.stdout.write(json.dumps([one.as_dict() for one in error.problems], indent=2))
            raise SystemExit(2) from error


def answer(options: dict[str, Any]) -> dict[str, Any]:
    """The command's JSON object. Raises BadInput with every wrong argument."""
    problems: list[Problem] = []
    province = _province(options.get("province"), problems)
    year = _year(options.get("year"), problems)
    amounts = {dest: _amount(name, options.get(dest), problems) for name, dest, _ in _AMOUNTS}
    limit = options.get("quebec_limit", "on")
    if limit not in ("on", "off"):
        problems.append(
            Problem("tax", "--quebec-limit", f"{limit!r} is neither on nor off", "Write on or off")
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
    law = parameters(year)
    reductions = bool(options.get("low_income_reductions"))
    taxes = [
        tax(
            law,
            province,
            one,
            quebec_limit=limit == "on",
            low_income_reductions=reductions,
        )
        for one in (before, after)
    ]
    rates = marginal_rates(law, province, before, low_income_reductions=reductions)
    shown = {
        "before": _parts(taxes[0]),
        "after": _parts(taxes[1]),
        "saving": text_from_cents(taxes[0].total_cents - taxes[1].total_cents),
        "marginal": {kind: _rate(rate) for kind, rate in rates.items()},
    }
    if options.get("minimum_tax"):
        shown["minimum_tax"] = _screen(screen(law, after, province=province))
    return shown


def _province(given: object, problems: list[Problem]) -> str:
    province = str(given or "").upper()
    if province not in JURISDICTIONS:
        what = "is missing" if given is None else f"{given!r} is not a province or territory"
        problems.append(Problem("tax", "province", what, f"Use one of: {', '.join(JURISDICTIONS)}"))
    return province


def _year(given: object, problems: list[Problem]) -> int:
    known = {str(year): year for year in known_years()}
    if str(given) not in known:
        what = "is missing" if given is None else f"tax year {str(given)!r} is not on file"
        problems.append(Problem("tax", "year", what, f"Years known: {', '.join(known)}"))
    return known.get(str(given), 0)


def _amount(name: str, given: object, problems: list[Problem]) -> int:
    if given is None and name != "income":
        return 0
    try:
        cents = cents_from_text(str(given))
    except ValueError:
        cents = -1
    if cents < 0:
        what = "is missing" if given is None else f"{given!r} is not an amount"
        remedy = "Write dollars and cents, zero or more, such as 128000.00"
        problems.append(Problem("tax", f"--{name}", what, remedy))
    return cents


def _rate(rate: Fraction) -> str:
    """A rate in four places, halves away from zero as published tables round."""
    parts = round_half_up(rate * 10_000)
    sign = "-" if parts < 0 else ""
    return f"{sign}{abs(parts) // 10_000}.{abs(parts) % 10_000:04d}"


def _screen(one: Screen) -> dict[str, str | bool | None]:
    return {
        "adjusted": text_from_cents(one.adjusted),
        "exemption": text_from_cents(one.exemption),
        "minimum": text_from_cents(one.minimum),
        "regular": text_from_cents(one.regular),
        "excess": text_from_cents(one.excess),
        "provincial": None if one.provincial is None else text_from_cents(one.provincial),
        "triggered": one.triggered,
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
