"""Timing in turns and reporting: one line of JSON, one table, and whether the limit held."""

from __future__ import annotations

import json
import platform
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

Work = Callable[[], object]


@dataclass
class Rival:
    """Something that does the same job, perhaps on `part` plans for each of ours."""

    name: str
    work: Work
    part: float = 1.0
    times: list[float] = field(default_factory=list)

    def median_ms(self) -> float:
        """Milliseconds for the whole job, scaled up from the part that was run."""
        return statistics.median(self.times) * 1000 / self.part


def in_turns(rivals: list[Rival], runs: int) -> None:
    """Time every rival once a round, A B A B, after one round that does not count.

    Processor time of this process: no rival waits for anything, and what else the
    machine does would only blur the ratios.
    """
    for count in range(runs + 1):
        for one in rivals:
            begun = time.process_time()
            one.work()
            passed = time.process_time() - begun
            if count:
                one.times.append(passed)


@dataclass(frozen=True)
class Limit:
    """A bound on ours / floor: above `at_most`, or with `at_least` below floor / ours, it fails.

    `ours` is the first rival unless another one is named.
    """

    floor: str
    at_most: float | None = None
    at_least: float | None = None
    ours: str = ""

    def text(self) -> str:
        """The bound as a person reads it."""
        subject = f"{self.ours}: " if self.ours else ""
        if self.at_most is not None:
            return f"{subject}at most {self.at_most:g} x {self.floor}"
        return f"{subject}at least {self.at_least:g} times as fast as {self.floor}"

    def holds(self, floor_ms: float, ours_ms: float) -> bool:
        """Whether the measured times keep to it."""
        if self.at_most is not None:
            return ours_ms <= self.at_most * floor_ms
        assert self.at_least is not None
        return floor_ms >= self.at_least * ours_ms


def report(
    name: str, n: int, rivals: list[Rival], limits: list[Limit], more: dict[str, object]
) -> int:
    """Print the figures; the exit code. The first rival is ours."""
    ours = rivals[0]
    by_name = {one.name: one for one in rivals}
    ours_ms = ours.median_ms()
    checks = [
        (one, one.holds(by_name[one.floor].median_ms(), by_name[one.ours or ours.name].median_ms()))
        for one in limits
    ]
    floor = by_name[limits[0].floor]
    line = {
        "bench": name,
        "n": n,
        "floor": floor.name,
        "floor_ms": round(floor.median_ms(), 3),
        "ours_ms": round(ours_ms, 3),
        "ratio": round(ours_ms / floor.median_ms(), 5),
        "min": round(min(ours.times) * 1000 / ours.part, 3),
        "max": round(max(ours.times) * 1000 / ours.part, 3),
        "runs": len(ours.times),
        "times_as_fast": {
            one.name: round(one.median_ms() / ours_ms, 2) for one in rivals if one is not ours
        },
        "python": platform.python_version(),
        "numpy": np.__version__,
        **more,
    }
    write(json.dumps(line))
    width = max(len(one.name) for one in rivals)
    write(f"\n{'':{width}}  {'ms, whole job':>15}  {'against ours':>13}")
    for one in rivals:
        shown = one.median_ms()
        write(f"{one.name:{width}}  {shown:15.2f}  {shown / ours_ms:12.2f}x")
    for one, holds in checks:
        write(f"{'holds' if holds else 'FAILS'}: {one.text()}")
    return 0 if all(holds for _one, holds in checks) else 1


def write(text: str) -> None:
    """One line to the terminal."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()
