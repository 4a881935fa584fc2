"""A household's plan replayed from every month of history that is long enough.

Each replay asks: had this plan met the markets and rates that began in that
month, where would it have ended beside the ordinary mortgage and beside the
same cash put into prepayments? Everything is given back as decimal strings with
what it rests on, for the report's key "comparison.history". What happened once
need not happen again; stretches that begin a month apart share almost all of
their months.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from planning.core.comparison_cases import build_cases, effective_rates, gain_rate
from planning.core.flat_tax import flat_tax
from planning.core.history_household import RENEWAL_MONTHS, household_in, market_of
from planning.core.market_series import (
    ASSUMED_YIELD,
    PRIME_OVER_BANK_RATE,
    MarketMonth,
    market_months,
)
from planning.core.money import round_half_up, text_from_cents
from planning.core.plan import run_plan
from planning.core.plan_types import OpeningClasses
from planning.core.rates import as_decimal
from planning.core.types import Household

Traced = Mapping[str, OpeningClasses] | None
Watch = Callable[[Sequence[str]], Iterable[str]]

CAUTIONS = (
    "A replay of the past, not a forecast. What comes may be worse than the worst start.",
    "Borrowing to invest magnifies losses: the line is owed whatever the portfolio is worth.",
    "Starts a month apart share most of their months; they are few independent trials.",
    "Tax positions depend on the use of each dollar and on records; local rules apply.",
    "This is not tax, legal or investment advice; confirm with a licensed professional.",
)


@dataclass(frozen=True, slots=True)
class Replay:
    """The plan from one start month of history. Amounts in cents, after tax if all is sold.

    `below` is the most by which the portfolio stood below the line at a month's
    end (0 when never) and `below_on` that month of history. The `real` lead is
    in the dollars of the start.
    """

    start: str
    end: str
    lead_over_ordinary: int
    lead_over_prepayments: int
    real_lead_over_prepayments: int
    below: int
    below_on: str | None
    prime_derived: bool
    yield_assumed: bool

    @property
    def behind(self) -> bool:
        """Whether the plan ended behind the same cash put into prepayments."""
        return self.lead_over_prepayments < 0


def start_months(months: int) -> tuple[str, ...]:
    """The months of history from which so many months of returns and rates follow.

    The first month on file only gives the close and the rates before the next.
    """
    known = market_months()
    return tuple(one.month for one in known[1 : len(known) - months + 1])


def replay(
    household: Household,
    start: str,
    *,
    months: int | None = None,
    opening_classes: Traced = None,
    mortgage_discount: Decimal = Decimal(0),
    fee_annual: Decimal = Decimal(0),
    file: str = "",
) -> Replay:
    """The household's plan as if its first month had been `start` ("YYYY-MM").

    `months` is the horizon, the plan's own unless given. Raises ValueError for a
    household without a plan or a start that is not among `start_months`, and
    BadInput for what is wrong with the plan itself.
    """
    plan = household.plan
    if plan is None:
        raise ValueError("the household has no plan to replay")
    count = plan.months if months is None else months
    starts = start_months(count)
    if start not in starts:
        raise ValueError(f"no {count} months of history follow {start!r}")
    first = starts.index(start)
    stretch = market_months()[first : first + count + 1]
    file = file or household.ref
    rates = effective_rates(household, file)
    bent = household_in(household, stretch, mortgage_discount)
    market = market_of(plan, stretch, fee_annual)
    tax = flat_tax(rates)
    result = run_plan(bent, opening_classes, tax_of_year=tax, file=file, market=market)
    cases = build_cases(bent, result, rates, opening_classes, tax, file, market)
    gains = gain_rate(rates)
    worth = cases.plan.net_worth(gains)[1]
    lead = worth - cases.prepayments.net_worth(gains)[1]
    below = [row.line_closing - row.portfolio_closing for row in result.rows]
    deepest = max(below)
    prices = Fraction(stretch[0].cpi) / Fraction(stretch[-1].cpi)
    return Replay(
        start=start,
        end=stretch[-1].month,
        lead_over_ordinary=worth - cases.ordinary.net_worth(gains)[1],
        lead_over_prepayments=lead,
        real_lead_over_prepayments=round_half_up(lead * prices),
        below=max(0, deepest),
        below_on=stretch[below.index(deepest) + 1].month if deepest > 0 else None,
        prime_derived=any(one.prime_derived for one in stretch[:-1]),
        yield_assumed=any(one.yield_assumed for one in stretch[:-1]),
    )


def history(
    household: Household,
    opening_classes: Traced = None,
    *,
    months: int | None = None,
    every: int = 1,
    mortgage_discount: Decimal = Decimal(0),
    fee_annual: Decimal = Decimal(0),
    file: str = "",
    watch: Watch = tuple,
) -> dict[str, object]:
    """All replays and their summary, for the report key "comparison.history".

    `every` takes each n-th start month only; `watch` is handed the starts and gives
    them back one by one, so that a command can show how far it is. Empty without a
    plan, and when no start has so many months after it.
    """
    plan = household.plan
    if plan is None:
        return {}
    count = plan.months if months is None else months
    starts = start_months(count)[::every]
    if not starts:
        return {}
    replays = tuple(
        replay(
            household,
            start,
            months=count,
            opening_classes=opening_classes,
            mortgage_discount=mortgage_discount,
            fee_annual=fee_annual,
            file=file,
        )
        for start in watch(starts)
    )
    return {
        "kind": "replay of history",
        "months": str(count),
        "summary": summary(replays),
        "starts": [_shown(one) for one in replays],
        "assumptions": _assumptions(mortgage_discount, fee_annual, every),
        "cautions": list(CAUTIONS),
    }


def summary(replays: Sequence[Replay]) -> dict[str, object]:
    """What the replays say together: how many ended behind, the worst, the middle one."""
    worst = min(replays, key=lambda one: one.lead_over_prepayments)
    deepest = max(replays, key=lambda one: one.below)
    return {
        "starts": str(len(replays)),
        "first_start": replays[0].start,
        "last_start": replays[-1].start,
        "behind_prepayments": _share(sum(one.behind for one in replays), len(replays)),
        "behind_ordinary": _share(sum(one.lead_over_ordinary < 0 for one in replays), len(replays)),
        "ever_below_line": _share(sum(one.below > 0 for one in replays), len(replays)),
        "worst": {
            "start": worst.start,
            "lead_over_prepayments": text_from_cents(worst.lead_over_prepayments),
            "lead_over_ordinary": text_from_cents(worst.lead_over_ordinary),
            "real_lead_over_prepayments": text_from_cents(worst.real_lead_over_prepayments),
        },
        "deepest_below_line": {
            "start": deepest.start,
            "month": deepest.below_on,
            "amount": text_from_cents(deepest.below),
        },
        "median": {
            "lead_over_prepayments": _median([one.lead_over_prepayments for one in replays]),
            "lead_over_ordinary": _median([one.lead_over_ordinary for one in replays]),
            "real_lead_over_prepayments": _median(
                [one.real_lead_over_prepayments for one in replays]
            ),
        },
        "starts_with_derived_prime": str(sum(one.prime_derived for one in replays)),
        "starts_with_assumed_yield": str(sum(one.yield_assumed for one in replays)),
    }


def _share(part: int, whole: int) -> str:
    return f"{as_decimal(Fraction(part, whole)):.4f}"


def _median(amounts: Sequence[int]) -> str:
    """The middle amount, or the mean of the two middle ones, as text."""
    ranked = sorted(amounts)
    middle = len(ranked) // 2
    if len(ranked) % 2:
        return text_from_cents(ranked[middle])
    return text_from_cents(round_half_up(Fraction(ranked[middle - 1] + ranked[middle], 2)))


def _shown(one: Replay) -> dict[str, object]:
    return {
        "start": one.start,
        "end": one.end,
        "lead_over_ordinary": text_from_cents(one.lead_over_ordinary),
        "lead_over_prepayments": text_from_cents(one.lead_over_prepayments),
        "real_lead_over_prepayments": text_from_cents(one.real_lead_over_prepayments),
        "deepest_below_line": text_from_cents(one.below),
        "deepest_on": one.below_on,
        "ended_behind": one.behind,
    }


def _assumptions(discount: Decimal, fee: Decimal, every: int) -> dict[str, object]:
    known: tuple[MarketMonth, ...] = market_months()
    return {
        "series": f"{known[0].month} to {known[-1].month}, planning/data/markets",
        "every": str(every),
        "calendar": "the household's own dates; month k of the plan meets month k of history",
        "returns": "Canadian share index: price growth, and last month's yield / 12 paid out",
        "yield_after_2016_08": f"{ASSUMED_YIELD:f} assumed, none reported",
        "fee": f"{fee:f}",
        "line_rate": "prime known when the month began, plus the line's spread",
        "prime_before_1975": f"derived: Bank Rate + {PRIME_OVER_BANK_RATE:f}",
        "mortgage_rate": "average five-year lending rate of the month before",
        "mortgage_discount": f"{discount:f}",
        "mortgage_renewal": f"on the first day and every {RENEWAL_MONTHS} months, payment solved"
        " anew; a mortgage that follows prime keeps its spread, its payment follows",
        "tax": "today's flat rates throughout; distributions are eligible dividends",
        "same_cash": "every month the larger of what the plan and the ordinary mortgage take",
        "sale": "everything is sold on the last day; a loss saves no tax",
        "real": "in dollars of the start, by consumer prices",
        "lender": "never calls the line, lowers the limit or refuses a renewal",
    }
