"""The plan proposal as data: everything it says, frozen, before anything is drawn.

Rendering reads this snapshot and nothing else, so a proposal issued once can be
drawn again years later with the same words and figures. It proposes the plan in
force, whole, from its first month, also for a household that is in the middle
of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from config.problems import BadInput, Problem
from ledger.core.digest import ENGINE
from planning.core.comparison import RATE_SHOCK, comparison
from planning.core.comparison_cases import (
    build_cases,
    effective_rates,
    with_rate_shock,
    without_reborrowing,
)
from planning.core.history import Watch, history
from planning.core.household_file import household_to_json
from planning.core.market_series import ASSUMED_YIELD, PRIME_OVER_BANK_RATE, market_months
from planning.core.money import text_from_cents
from planning.core.months import last_day
from planning.core.plan import run_plan
from planning.core.plan_types import OpeningClasses, PlanResult
from planning.core.types import Household, Plan
from reports.packets.proposal_assumed import assumed_rows
from reports.packets.proposal_losses import loss_cases
from reports.packets.proposal_parts import (
    cash_rows,
    debt_rows,
    first_dollars,
    first_instructions,
    non_deductible,
    renewal_rows,
)
from reports.packets.proposal_tax import tax_rows
from reports.packets.values import digest_of

FORMAT = "towpath/plan-proposal"
VERSION = 1
LANGUAGES = ("en", "fr")
STARTS_EVERY = 12
"""History is replayed from each twelfth month: one start a year."""
PATHS = 10_000
SEED = 20_261_125

Traced = Mapping[str, OpeningClasses] | None


@dataclass(frozen=True, slots=True)
class PlanOnFile:
    """The plan's version in force: number, digest of its inputs, day it was put on file."""

    number: int
    digest: str
    recorded: date

    @property
    def label(self) -> str:
        """How file names write it: "plan3"."""
        return f"plan{self.number}"


def proposal_input_digest(
    household: Household,
    on_file: PlanOnFile,
    language: str,
    as_of: date,
    traced: Traced = None,
    every: int = STARTS_EVERY,
) -> str:
    """SHA-256 of all that a proposal depends on; equal digests make equal proposals.

    Statements and uses count only through the classes they give the lines'
    opening balances: a later statement changes no proposal.
    """
    opening = {
        ref: (one.eligible_cents, one.unsupported_cents, one.ineligible_cents, one.targets)
        for ref, one in sorted((traced or {}).items())
    }
    own_uses = tuple(one for one in household.uses if one.draw.endswith("-opening"))
    return digest_of(
        FORMAT,
        VERSION,
        ENGINE,
        household_to_json(replace(household, statements=(), uses=own_uses)),
        (on_file.number, on_file.digest, on_file.recorded.isoformat()),
        opening,
        language,
        as_of.isoformat(),
        (every, PATHS, SEED),
    )


def check_proposal(household: Household, language: str, every: int = STARTS_EVERY) -> None:
    """Raise BadInput, with every fault, for what cannot be proposed."""
    problems: list[Problem] = []
    ref = household.ref
    if household.plan is None:
        problems.append(
            Problem(
                ref,
                "plan",
                "no plan is on file, so there is nothing to propose",
                "Add a plan to the household file and load it with load_household",
            )
        )
    if language not in LANGUAGES:
        problems.append(Problem(ref, "language", f"{language!r} is not spoken", "Use en or fr"))
    if every < 1:
        problems.append(Problem(ref, "--every", f"{every} is no number of months", "Use 1 or more"))
    if problems:
        raise BadInput(problems)


def proposal_data(
    household: Household,
    on_file: PlanOnFile,
    language: str,
    as_of: date,
    traced: Traced = None,
    *,
    every: int = STARTS_EVERY,
    watch: Watch = tuple,
) -> dict[str, Any]:
    """The proposal's snapshot: a JSON-able dict of decimal strings, ISO dates and codes.

    `traced` are the classes of the lines' balances on the evening before the
    plan starts. `every` takes each so-many-th month of history as a start;
    `watch` is handed the starts (a progress bar). Raises BadInput without a
    plan, for a language that is not spoken, and for the plan's own faults.
    """
    # It brings arrays, which everything else in reports starts without.
    from planning.core.monte_carlo import monte_carlo

    check_proposal(household, language, every)
    plan = household.plan
    assert plan is not None
    alone = without_reborrowing(household)
    assert alone.plan is not None
    rates = effective_rates(household, household.ref)
    result = run_plan(household, traced)
    compared: dict[str, Any] = comparison(household, result, traced)
    cases = build_cases(household, result, rates, traced, file=household.ref)
    ordinary, prepaid = cases.ordinary.result, cases.prepayments.result
    dear = run_plan(with_rate_shock(household, RATE_SHOCK), traced)
    return {
        "format": FORMAT,
        "version": VERSION,
        "language": language,
        "as_of": as_of.isoformat(),
        "plan": {
            "number": on_file.number,
            "digest": on_file.digest,
            "recorded": on_file.recorded.isoformat(),
            "starts": plan.starts.isoformat(),
            "ends": last_day(result.rows[-1].month).isoformat(),
            "months": plan.months,
            "warnings": list(result.warnings),
        },
        "household": {
            "ref": household.ref,
            "name": household.name,
            "province": household.province,
            "advisor": household.advisor,
            "members": [one.name for one in household.members],
        },
        "engine": ENGINE,
        "input_digest": proposal_input_digest(household, on_file, language, as_of, traced, every),
        "proposed": _proposed(plan),
        "figures": _figures(result, ordinary, compared),
        "losses": loss_cases(household, result, compared, traced),
        "debts": debt_rows(result, ordinary, prepaid),
        "paid_off": compared["conversion"],
        "cash": cash_rows(plan, alone.plan, result, ordinary),
        "dollars": first_dollars(result),
        "assumed": assumed_rows(household, compared),
        "tax": tax_rows(household, result),
        "gaar": compared["gaar"],
        "worth": {
            "horizon": compared["horizon"],
            "cash_paid_in": compared["cash_paid_in"],
            **{name: compared[name] for name in ("plan", "ordinary", "prepayments")},
            "lead_over_ordinary": compared["lead_over_ordinary"],
            "lead_over_prepayments": compared["lead_over_prepayments"],
        },
        "history": _history(household, traced, every, watch),
        "chance": monte_carlo(household, traced, paths=PATHS, seed=SEED),
        "renewals": renewal_rows(household, result, dear),
        "instructions": first_instructions(plan, result),
    }


def _proposed(plan: Plan) -> dict[str, Any]:
    """What the one sentence says: share, accounts, and where interest, refund, income go."""
    reborrow = plan.reborrow
    return {
        "share": None if reborrow is None else f"{reborrow.share:f}",
        "line": None if reborrow is None else reborrow.line,
        "into": None if reborrow is None else reborrow.into,
        "opening_draw": text_from_cents(0 if reborrow is None else reborrow.opening_draw_cents),
        "line_interest": plan.line_interest,
        "refund": plan.refund,
        "distributions": plan.investment.distributions,
        "dam": None if plan.dam is None else plan.dam.kind,
    }


def _figures(
    result: PlanResult, ordinary: PlanResult, compared: Mapping[str, Any]
) -> list[dict[str, str]]:
    """Three figures at the horizon, the plan's beside the ordinary mortgage's."""
    row, usual = result.rows[-1], ordinary.rows[-1]
    pairs = (
        ("non-deductible", non_deductible(row), non_deductible(usual)),
        (
            "debt",
            row.mortgage_closing + row.line_closing,
            usual.mortgage_closing + usual.line_closing,
        ),
    )
    found = [
        {
            "what": what,
            "plan": text_from_cents(ours),
            "ordinary": text_from_cents(theirs),
            "gap": text_from_cents(ours - theirs),
        }
        for what, ours, theirs in pairs
    ]
    return [
        *found,
        {
            "what": "worth",
            "plan": str(compared["plan"]["net_worth_after_tax"]),
            "ordinary": str(compared["ordinary"]["net_worth_after_tax"]),
            "gap": str(compared["lead_over_ordinary"]),
        },
    ]


def _history(household: Household, traced: Traced, every: int, watch: Watch) -> dict[str, Any]:
    """The replays with what they rest on; empty when history is shorter than the plan."""
    found = history(household, traced, every=every, watch=watch)
    if not found:
        return {}
    known = market_months()
    return {
        "months": found["months"],
        "every": str(every),
        "summary": found["summary"],
        "starts": found["starts"],
        "series_from": known[0].month,
        "series_to": known[-1].month,
        "assumed_yield": f"{ASSUMED_YIELD:f}",
        "prime_over_bank_rate": f"{PRIME_OVER_BANK_RATE:f}",
    }
