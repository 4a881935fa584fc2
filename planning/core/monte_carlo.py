"""A projection of the plan over ten thousand paths of drawn years of history.

Not a forecast and not bookkeeping: a picture of how far apart the outcomes lie
when years like those of history come in another order. Results are decimal
strings for the report key "comparison.chance", with seed, assumptions and cautions.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np

from planning.core.comparison_cases import without_reborrowing
from planning.core.money import text_from_cents
from planning.core.projection_case import CaseRun, budget_of, year_of_market
from planning.core.projection_start import Policy, Start, Traced, policy_of, start_of
from planning.core.scenarios import (
    BLOCK_YEARS,
    PATHS,
    SEED,
    Floats,
    Scenarios,
    draw_scenarios,
    prime_levels,
    usual_prime,
    windows,
)
from planning.core.types import Household

PERCENTILES = (5, 25, 50, 75, 95)

CAUTIONS = (
    "A projection from drawn years of the past, not a forecast and no promise.",
    "Borrowing to invest magnifies losses; the worst paths here are not the worst possible.",
    "Tax positions depend on the use of each dollar and on records; local rules apply.",
    "This is not tax, legal or investment advice; confirm with a licensed professional.",
)


@dataclass(frozen=True, slots=True)
class Outcomes:
    """What each path ended with, in cents: the plan's leads, and how far below the line
    the portfolio ever stood at a year's end.
    """

    lead_over_ordinary: Floats
    lead_over_prepayments: Floats
    below: Floats


def project(start: Start, policy: Policy, ordinary: Policy, scenarios: Scenarios) -> Outcomes:
    """Play the three cases over all paths; every case gets the same cash each year."""
    paths = scenarios.paths
    plan, usual, prepaid = (CaseRun(start, rules, paths) for rules in (policy, ordinary, ordinary))
    primes = prime_levels(scenarios, start.prime)
    for year in range(min(start.years, scenarios.years)):
        market = year_of_market(year, scenarios.drawn[year], primes[year])
        by_plan, by_usual = plan.year(market), usual.year(market)
        budget = budget_of(by_plan, by_usual)
        by_prepaid = prepaid.year(market, budget)
        for case, used in ((plan, by_plan), (usual, by_usual), (prepaid, by_prepaid)):
            case.save(budget - used.total, market)
    worth = plan.worth()
    return Outcomes(worth - usual.worth(), worth - prepaid.worth(), plan.below)


def outcomes(
    household: Household,
    opening_classes: Traced | None = None,
    *,
    scenarios: Scenarios | None = None,
    file: str = "",
) -> Outcomes:
    """Every path's outcome for a household with a plan of at least a year.

    Without `scenarios` the shared ones of the stored seed are used. Raises
    ValueError without such a plan, and BadInput for what is wrong with it.
    """
    plan = household.plan
    if plan is None or plan.months < 12:
        raise ValueError("a projection by years needs a plan of at least twelve months")
    start = start_of(household, opening_classes, file or household.ref)
    drawn = scenarios or draw_scenarios(start.years)
    ordinary = policy_of(without_reborrowing(household))
    return project(start, policy_of(household), ordinary, drawn)


def monte_carlo(
    household: Household,
    opening_classes: Traced | None = None,
    *,
    paths: int = PATHS,
    seed: int = SEED,
    block_years: int = BLOCK_YEARS,
    months: int | None = None,
    file: str = "",
) -> dict[str, object]:
    """The projection and what it rests on; empty without a plan of at least a year.

    `months` shortens or lengthens the horizon, counted in whole years.
    """
    plan = household.plan
    if plan is not None and months is not None:
        plan = replace(plan, months=months)
        household = replace(household, plan=plan)
    if plan is None or plan.months < 12:
        return {}
    scenarios = draw_scenarios(plan.months // 12, paths, seed, block_years)
    found = outcomes(household, opening_classes, scenarios=scenarios, file=file)
    return {
        "kind": "projection",
        "years": str(scenarios.years),
        "paths": str(paths),
        "seed": str(seed),
        "lead_over_ordinary": _spread(found.lead_over_ordinary),
        "lead_over_prepayments": _spread(found.lead_over_prepayments),
        "deepest_below_line": _spread(found.below),
        "behind_ordinary": _share(found.lead_over_ordinary < 0),
        "behind_prepayments": _share(found.lead_over_prepayments < 0),
        "ever_below_line": _share(found.below > 0),
        "assumptions": _assumptions(block_years),
        "cautions": list(CAUTIONS),
    }


def _spread(amounts: Floats) -> dict[str, str]:
    """The percentiles, each an outcome between two neighbouring paths, to the dollar."""
    values = np.percentile(amounts, PERCENTILES)
    return {
        f"p{percent:02d}": text_from_cents(round(float(value) / 100) * 100)
        for percent, value in zip(PERCENTILES, values, strict=True)
    }


def _share(which: np.typing.NDArray[np.bool_]) -> str:
    return f"{Decimal(int(which.sum())) / which.size:.4f}"


def _assumptions(block_years: int) -> dict[str, object]:
    table = windows()
    usual, pull = usual_prime()
    return {
        "drawn_from": f"stretches of {table.first_months[0]} on to the year that begins "
        f"{table.first_months[-1]}, each equally likely",
        "block": f"{12 * block_years} months in a row, prices and rates kept together",
        "common_paths": "every household meets the same drawn years for the same seed",
        "prime": "starts from the plan's own and takes the drawn years' changes in proportion, "
        f"pulled each year by {pull:.2f} of its distance towards {usual:.4f}",
        "mortgage_rate": "own rate until its term ends, then every five years prime plus the "
        "drawn year's gap between the average mortgage rate and prime",
        "returns": "Canadian share index with distributions, before any fee",
        "yield_after_2016_08": "0.0290 assumed, none reported",
        "prime_before_1975": "derived: Bank Rate + 0.0150",
        "steps": "by whole years; within a year flows are even, limits are looked at once; "
        "below the line is looked at each year's end",
        "mortgages": "taken as one, weighted by balance",
        "distributions": "eligible dividends, taxed at today's flat rates; no return of capital",
        "same_cash": "every year the larger of what the plan and the ordinary mortgage take",
        "sale": "everything is sold at the end; a loss saves no tax",
        "rounding": "amounts to the dollar; nothing here enters the books",
    }
