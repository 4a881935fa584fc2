"""`evaluate`: a household file read, checked and evaluated, against its plan alone."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path

from ledger.core.evaluation import evaluate_text
from planning.core.household_file import read_household
from planning.core.plan import run_plan
from tests.benchmarks.measure import Limit, Rival, in_turns, report

SAMPLES = Path(__file__).resolve().parent.parent / "samples"
TIMES_THE_PLAN = 10.0


def evaluate(asked: Namespace) -> int:
    """Time every sample file from its text to its report; the plan inside is the floor."""
    texts = {path.name: path.read_text("utf-8") for path in sorted(SAMPLES.glob("*.json"))}
    for name, text in texts.items():
        plan = run_plan(read_household(text, name))
        assert evaluate_text(text, name).plan.rows == plan.rows, name
    rivals = [
        Rival("ours, text to report", lambda: [evaluate_text(t, n) for n, t in texts.items()]),
        Rival(
            "read and plan only",
            lambda: [run_plan(read_household(t, n)) for n, t in texts.items()],
        ),
    ]
    in_turns(rivals, asked.runs)
    limits = [Limit("read and plan only", at_most=TIMES_THE_PLAN * asked.slack)]
    return report("evaluate", len(texts), rivals, limits, {})
