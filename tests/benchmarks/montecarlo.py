"""How long a projection of 10,000 paths over 25 years takes, beside drawing its normals.

Run it with `python -m tests.benchmarks.montecarlo`. The yardstick is the time this
machine needs to draw 2 x 300 x 10,000 normals, which a simulation by months with
its own shocks would need before any work of its own. Wanted: a fresh run at most
1.7 times that, a further household on the same paths at most 0.6 times.
"""

from __future__ import annotations

from collections.abc import Callable
from statistics import median
from time import perf_counter

import numpy as np

from planning.core.monte_carlo import monte_carlo, outcomes
from planning.core.scenarios import PATHS, draw_scenarios
from tests.planning.core.plan_cases import household

MONTHS = 300
RUNS = 7
FRESH_AT_MOST, FURTHER_AT_MOST = 1.7, 0.6


def milliseconds(work: Callable[[], object]) -> float:
    """The middle of several runs, in milliseconds."""
    times = []
    for _ in range(RUNS):
        began = perf_counter()
        work()
        times.append((perf_counter() - began) * 1000)
    return median(times)


def main() -> None:
    """Print the three times and the two ratios."""
    one = household({"plan.months": MONTHS, "plan.refund": "prepay"})

    def normals() -> object:
        return np.random.default_rng(1).standard_normal((2, MONTHS, PATHS))

    def fresh() -> object:
        draw_scenarios.cache_clear()
        return monte_carlo(one)

    yardstick = milliseconds(normals)
    for name, work, most in (
        ("fresh run with percentiles", fresh, FRESH_AT_MOST),
        ("further household, same paths", lambda: outcomes(one), FURTHER_AT_MOST),
    ):
        took = milliseconds(work)
        ratio = took / yardstick
        verdict = "within" if ratio <= most else "ABOVE"
        print(f"{name:32} {took:7.1f} ms  {ratio:5.2f} x  ({verdict} {most})")
    print(f"{'drawing the normals':32} {yardstick:7.1f} ms  1.00 x")


if __name__ == "__main__":
    main()
