"""The annual packet for the accountant as data: every schedule, frozen, before it is drawn.

A packet is refused when a month's roll-forward does not tie to the statements:
a claim that cannot be tied is not handed to an accountant.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from config.problems import BadInput, Problem
from ledger.core.trace_adapter import view_of
from ledger.core.trace_view_shares import shares_of
from ledger.core.trace_view_year import year_trace
from ledger.core.tracing import trace
from planning.core.household_file import household_to_json
from planning.core.money import cents_from_text, text_from_cents
from planning.core.types import Household
from reports.packets import annual_debt, annual_rest, annual_use
from reports.packets.annual_tables import YearBook
from reports.packets.values import Json, digest_of, minus, month_rows
from reports.packets.words import gettext_noop

FORMAT = "towpath/annual-packet"
VERSION = 1
LANGUAGES = ("en", "fr")
FIGURES = (
    ("posted", gettext_noop("Interest posted")),
    ("paid", gettext_noop("Interest paid")),
    ("deductible", gettext_noop("Eligible interest")),
    ("unsupported", gettext_noop("Not claimed: use not evidenced")),
    ("ineligible", gettext_noop("Not deductible: ineligible use")),
    ("compound", gettext_noop("Compound interest in the claim")),
    ("federal", gettext_noop("Federal claim, line 22100")),
    ("provincial", gettext_noop("Reduction on the provincial return")),
)
QUESTIONS: tuple[tuple[str, tuple[int, ...]], ...] = (
    (gettext_noop("Was it borrowed?"), (1, 2)),
    (gettext_noop("Was the interest paid?"), (5, 2)),
    (gettext_noop("What is it used for now?"), (3, 4)),
    (gettext_noop("Could that produce income?"), (10, 3)),
    (gettext_noop("What happened to sales and returned capital?"), (7, 6)),
    (gettext_noop("Who borrowed, and who owns?"), (13, 1)),
)


class NotTiedError(Exception):
    """Months whose roll-forward does not tie to the statements: pairs of month and line."""

    def __init__(self, months: tuple[tuple[str, str], ...]) -> None:
        self.months = months
        super().__init__(", ".join(f"{month} ({line})" for month, line in months))


def default_as_of(year: int) -> date:
    """The date a packet carries unless told otherwise: ten days after the year's end."""
    return date(year + 1, 1, 10)


def expected_months(household: Household, year: int) -> tuple[str, ...]:
    """The year's months that have to be closed: from the first line statement's on."""
    starts = [one.starts for line in household.lines for one in household.statements_of(line.ref)]
    if not starts or min(starts).year > year:
        return ()
    first = min(starts).month if min(starts).year == year else 1
    return tuple(f"{year:04d}-{month:02d}" for month in range(first, 13))


def annual_data(
    household: Household,
    report: Json,
    year: int,
    language: str,
    as_of: date,
    papers: Sequence[dict[str, str]] = (),
) -> dict[str, Any]:
    """The annual packet's snapshot: a JSON-able dict of decimal strings and ISO dates.

    `report` is the household report closed through December of `year`; `papers`
    the evidence on file. Raises BadInput for another household's report, a year
    that is not closed or has no line statement, and NotTiedError with the months
    when the roll-forward does not tie.
    """
    _check(household, report, year, language)
    traced = trace(household, date(year, 12, 31))
    shares = shares_of(household, traced)
    claim = report["deductions"][str(year)]
    view = view_of(household, traced)
    book = YearBook(household, report, year, traced, view, shares, claim)
    loose = annual_debt.untied(book)
    if loose:
        raise NotTiedError(loose)
    walked = year_trace(household, traced, shares, year).deductible
    if text_from_cents(walked) != claim["deductible"]:
        raise NotTiedError(((f"{year}-12", "*"),))
    closed = month_rows(report)
    known = {one.id for one in traced.draws}
    papers = [one for one in papers if not one["draw"] or one["draw"] in known]
    digest = digest_of(
        FORMAT, VERSION, household_to_json(household), report, year, language,
        as_of.isoformat(), list(papers),
    )  # fmt: skip
    return {
        "format": FORMAT,
        "version": VERSION,
        "language": language,
        "as_of": as_of.isoformat(),
        "year": year,
        "household": {
            "ref": household.ref,
            "name": household.name,
            "province": household.province,
            "advisor": household.advisor,
        },
        "engine": str(report.get("engine") or ""),
        "input_digest": digest,
        "month_digests": {month: str(closed[month].get("digest") or "") for month in book.months},
        "figures": [[key, word, str(claim[key])] for key, word in FIGURES],
        "questions": [[words, list(numbers)] for words, numbers in QUESTIONS],
        "schedules": [
            annual_debt.facilities(book),
            annual_debt.roll_forward(book),
            annual_use.purchases(book),
            annual_debt.ledger(book),
            annual_debt.interest(book),
            annual_use.capital_returned(book),
            annual_use.sales(book),
            annual_rest.costs(),
            annual_rest.fees(book),
            annual_rest.income(book),
            annual_rest.cost_base(),
            annual_rest.minimum_tax(book),
            annual_use.owners(book),
            annual_rest.exceptions(book, as_of),
            annual_rest.method(book),
            annual_rest.evidence(book, papers),
        ],
        "supersedes": None,
    }


def supersession(old: Mapping[str, Any], version: int, new: Mapping[str, Any]) -> dict[str, Any]:
    """The memo of a packet that takes an earlier one's place: figures was, is, difference."""
    was = {key: amount for key, _, amount in old["figures"]}
    rows = [[word, was[key], now, minus(now, was[key])] for key, word, now in new["figures"]]
    moved = any(cents_from_text(row[3]) for row in rows)
    return {"version": version, "inputs": old["input_digest"], "rows": rows, "moved": moved}


def _check(household: Household, report: Json, year: int, language: str) -> None:
    problems: list[Problem] = []
    ref = household.ref
    if report.get("household") != ref or report.get("through") != f"{year:04d}-12":
        said = f"the report is {report.get('household')}'s through {report.get('through')}"
        remedy = f"Give the report of {ref} closed through {year:04d}-12"
        problems.append(Problem(ref, "report", said, remedy))
    expected = expected_months(household, year)
    if not expected or str(year) not in (report.get("deductions") or {}):
        said = f"no line statement is on file for {year}"
        problems.append(Problem(ref, str(year), said, "Name a year with line statements"))
    closed = month_rows(report)
    problems += [
        Problem(ref, month, "the month is not closed", f"Close it with close_month {month}")
        for month in expected
        if month not in closed
    ]
    if language not in LANGUAGES:
        problems.append(Problem(ref, "language", f"{language!r} is not spoken", "Use en or fr"))
    if problems:
        raise BadInput(problems)
