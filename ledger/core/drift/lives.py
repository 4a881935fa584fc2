"""From findings at each close to runs: first and last month, open or not.

A run is one unbroken row of closes at which a trigger held. A trigger that
stops and returns is a second run with the same key; a `cure` finding that has
closed does not return.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from ledger.core.drift.findings import Finding


@dataclass(frozen=True, slots=True)
class FindingRun:
    """One run: `finding` is that of `last`; `open` when it still holds at the newest close."""

    finding: Finding
    first: str
    last: str
    open: bool


def merged(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """One finding for each code and key of a close, in the order found; dollars add up."""
    by_key: dict[tuple[str, str], Finding] = {}
    for one in findings:
        name = (one.code, one.key)
        held = by_key.get(name)
        if held is None:
            by_key[name] = one
            continue
        by_key[name] = replace(
            held,
            dollars_cents=held.dollars_cents + one.dollars_cents,
            cost_per_year_cents=held.cost_per_year_cents + one.cost_per_year_cents,
            evidence=tuple(dict.fromkeys((*held.evidence, *one.evidence))),
        )
    return tuple(by_key.values())


def follow(closes: Sequence[tuple[str, Sequence[Finding]]]) -> tuple[FindingRun, ...]:
    """Fold the findings of consecutive closes, oldest first, into runs by first month."""
    runs: list[FindingRun] = []
    running: dict[tuple[str, str], FindingRun] = {}
    for month, findings in closes:
        held = {(one.code, one.key): one for one in findings}
        ended = [name for name in running if name not in held]
        runs += [replace(running.pop(name), open=False) for name in ended]
        for name, finding in held.items():
            begun = running.get(name)
            first = month if begun is None else begun.first
            running[name] = FindingRun(finding, first, month, open=True)
    runs += running.values()
    order = {id(run): index for index, run in enumerate(runs)}
    return tuple(sorted(runs, key=lambda run: (run.first, order[id(run)])))
