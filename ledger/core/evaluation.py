"""From a household file's text to a report, with every fault of the input at once."""

from __future__ import annotations

from datetime import date

from config.problems import BadInput, Problem
from ledger.core.close import Report, evaluate, first_month, latest_month
from ledger.core.drift.thresholds import DEFAULTS, Thresholds
from ledger.core.facts import facts_problems
from planning.core.flat_tax import tax_for
from planning.core.household_file import read_household
from planning.core.months import first_day, month_of, shift_month
from planning.core.plan_problems import plan_problems
from planning.core.types import Household


def evaluate_text(
    text: str,
    file: str,
    through: str | None = None,
    today: date | None = None,
    thresholds: Thresholds = DEFAULTS,
) -> Report:
    """Read, check and evaluate a household file.

    Raises BadInput with every fault of the file, of its facts, of its plan and
    of `through`. `today` refuses months that have not begun (None: no such check).
    """
    household = read_checked(text, file, through, today)
    return evaluate(household, through, thresholds)


def read_checked(
    text: str, file: str, through: str | None = None, today: date | None = None
) -> Household:
    """Read a household file and check everything that can be checked before it is evaluated."""
    month_faults = month_problems(through, file)
    try:
        household = read_household(text, file)
    except BadInput as error:
        raise BadInput([*error.problems, *month_faults]) from error
    problems = [
        *facts_problems(household, file)[0],
        *plan_problems(household, file),
        *_tax_problems(household, file),
        *(month_faults or through_problems(household, through, file, today)),
    ]
    if problems:
        raise BadInput(problems)
    return household


def _tax_problems(household: Household, file: str) -> tuple[Problem, ...]:
    """Why the plan's tax cannot be computed: no rates, no income, a year without parameters."""
    if household.plan is not None:
        try:
            tax_for(household, file)
        except BadInput as error:
            return error.problems
    return ()


def month_problems(through: str | None, file: str) -> list[Problem]:
    """A `through` that is no month."""
    if through is None:
        return []
    try:
        first_day(shift_month(through, 0))
    except ValueError as error:
        return [Problem(file, "--through", str(error), "Write the year and the month: 2026-05")]
    return []


def through_problems(
    household: Household, through: str | None, file: str, today: date | None
) -> list[Problem]:
    """A `through` before the first statement, or in a month that has not begun `today`."""
    first, latest = first_month(household), latest_month(household)
    if through is None:
        return []
    if first is None or latest is None:
        return [
            Problem(
                file,
                "--through",
                f"there is no statement, so {through} cannot be closed",
                "Leave it out to see the plan alone",
            )
        ]
    if today is not None and through > max(latest, month_of(today)):
        # A month whose statements are late may be closed; one that has not begun may not.
        return [
            Problem(
                file,
                "--through",
                f"{through} lies in the future",
                f"Use a month from {first} to {max(latest, month_of(today))}",
            )
        ]
    if through < first:
        return [
            Problem(
                file,
                "--through",
                f"{through} lies before the first statement, which starts in {first}",
                f"Use a month from {first} to {latest}",
            )
        ]
    return []
