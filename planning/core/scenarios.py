"""Market scenarios: years of history drawn again and again, whole, with a stored seed.

A block of consecutive months is taken from history as it was, so that prices,
distributions, prime and mortgage rates keep moving together as they did. Every
household meets the same drawn years (common random numbers): two households, or
one household before and after a change, differ by what they are and not by luck.

Projections are not bookkeeping, so these modules alone use binary floating
point; nothing here is ever posted, traced or deducted.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from planning.core.market_series import (
    MarketMonth,
    distribution,
    market_months,
    price_growth,
)

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]

SEED = 20_261_125
PATHS = 10_000
BLOCK_YEARS = 2
"""Years drawn together: prime has followed the share index a year later (correlation 0.35)."""

LOWEST_PRIME, HIGHEST_PRIME = 0.01, 0.25
_MONTHS = 12


@dataclass(frozen=True, slots=True)
class Growth:
    """A year's factors by the month of history it begins in.

    `on_opening`, `on_added`, `on_first`: what one dollar there at the start, added
    in twelve equal parts, or added in the first month, is worth at the year's end;
    `paid_...`: what it distributed. Money grows from the month after.
    """

    on_opening: Floats
    on_added: Floats
    on_first: Floats
    paid_on_opening: Floats
    paid_on_added: Floats
    paid_on_first: Floats


@dataclass(frozen=True, slots=True)
class Windows:
    """Every twelve months of history, by the month they begin in.

    `paid_out` leaves distributions out of the account, `reinvested` keeps them
    in. Prime is relative to its level when the year began: `prime_mean` over
    the year, `prime_on_added` weighted by what level draws owe (half a year in
    all), `prime_end` at the next year's start. `mortgage_gap` is the average
    mortgage rate less prime when the year began.
    """

    first_months: tuple[str, ...]
    paid_out: Growth
    reinvested: Growth
    prime_mean: Floats
    prime_on_added: Floats
    prime_end: Floats
    mortgage_gap: Floats


@dataclass(frozen=True, slots=True)
class Scenarios:
    """The drawn years: `drawn[t, path]` is the window that year t of a path repeats.

    `pull` is the part of prime's distance from its usual level that a year takes back.
    """

    drawn: Whole
    seed: int
    block_years: int
    pull: float

    @property
    def years(self) -> int:
        """Years of each path."""
        return int(self.drawn.shape[0])

    @property
    def paths(self) -> int:
        """Number of paths."""
        return int(self.drawn.shape[1])


@lru_cache(maxsize=1)
def windows() -> Windows:
    """The factors of every twelve months on file."""
    known = market_months()
    prices = np.array([float(1 + price_growth(*pair)) for pair in _pairs(known)])
    paid = np.array([float(distribution(before)) for before, _ in _pairs(known)])
    prime = np.array([float(one.prime) for one in known])
    average = np.array([float(one.mortgage_average) for one in known])
    count = len(known) - _MONTHS
    months = np.arange(count)[:, None] + np.arange(_MONTHS)
    relative = prime[months] / prime[:count, None]
    # A draw in the middle of month k owes half of it and every later month.
    weight = (np.arange(_MONTHS) + 0.5) / _MONTHS**2
    return Windows(
        first_months=tuple(one.month for one in known[1 : count + 1]),
        paid_out=_growth(prices[months], paid[months], reinvest=False),
        reinvested=_growth(prices[months], paid[months], reinvest=True),
        prime_mean=relative.mean(axis=1),
        prime_on_added=relative @ weight,
        prime_end=prime[_MONTHS:] / prime[:count],
        mortgage_gap=(average - prime)[:count],
    )


def _pairs(known: tuple[MarketMonth, ...]) -> list[tuple[MarketMonth, MarketMonth]]:
    return list(pairwise(known))


def _growth(prices: Floats, paid: Floats, *, reinvest: bool) -> Growth:
    """Play one dollar at the start, in twelve parts, and in the first month."""
    count = prices.shape[0]
    value = np.stack([np.ones(count), np.zeros(count), np.zeros(count)])
    distributed = np.zeros_like(value)
    for month in range(_MONTHS):
        out = paid[:, month]
        distributed += value * out
        value *= prices[:, month] + out if reinvest else prices[:, month]
        value[1] += 1 / _MONTHS
        value[2] += 1.0 if month == 0 else 0.0
    return Growth(*value, *distributed)


@lru_cache(maxsize=4)
def draw_scenarios(
    years: int, paths: int = PATHS, seed: int = SEED, block_years: int = BLOCK_YEARS
) -> Scenarios:
    """Draw blocks of whole years from history, each start month equally likely.

    The raw 64-bit stream of PCG64 is used, which NumPy promises to keep: the
    same seed gives the same paths in every release. Raises ValueError unless
    years, paths and block_years are positive and a block fits into history.
    """
    count = len(windows().first_months)
    starts = count - _MONTHS * (block_years - 1)
    if min(years, paths, block_years) < 1 or starts < 1:
        raise ValueError("scenarios need at least one year, one path and a block within history")
    blocks = -(-years // block_years)
    raw = np.random.PCG64(seed).random_raw(blocks * paths)
    # The upper 53 bits as a number below one, times the number of starts.
    unit = (raw >> np.uint64(11)).astype(np.float64) * 2.0**-53
    first = (unit * starts).astype(np.int64).reshape(blocks, paths)
    drawn = np.repeat(first, block_years, axis=0)
    drawn += (_MONTHS * (np.arange(blocks * block_years) % block_years))[:, None]
    drawn = drawn[:years]
    drawn.setflags(write=False)
    return Scenarios(drawn, seed, block_years, usual_prime()[1])


@lru_cache(maxsize=1)
def usual_prime() -> tuple[float, float]:
    """The usual level of prime (geometric mean since 1956) and the yearly pull towards it.

    Yearly changes drawn one after another would wander off without end. The pull
    is the one with which they spread as widely, in the long run, as prime has:

    pull = 1 - sqrt(1 - v/w)

    v the variance of the yearly change of log prime, w that of log prime itself.
    """
    levels = np.log(np.array([float(one.prime) for one in market_months()]))
    changes = levels[_MONTHS:] - levels[:-_MONTHS]
    pull = 1 - np.sqrt(1 - changes.var() / levels.var())
    return float(np.exp(levels.mean())), float(pull)


def prime_levels(scenarios: Scenarios, first: float) -> Floats:
    """Prime at the start of each year of each path, from today's.

    The drawn years' changes are applied in proportion, after the pull towards
    the usual level; kept between 1% and 25%, a little wider than history.
    """
    ends = windows().prime_end
    usual = usual_prime()[0]
    levels = np.empty(scenarios.drawn.shape)
    level = np.full(scenarios.paths, first)
    for year in range(scenarios.years):
        levels[year] = level
        pulled = level * (usual / level) ** scenarios.pull
        level = np.clip(pulled * ends[scenarios.drawn[year]], LOWEST_PRIME, HIGHEST_PRIME)
    return levels
