"""`python -m tests.benchmarks NAME [--n N] [--runs K] [--mem] [--flat] [--slack X]`."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable

from tests.benchmarks.cents import cents
from tests.benchmarks.evaluate import evaluate
from tests.benchmarks.project import project
from tests.benchmarks.start import start
from tests.benchmarks.trace import trace_bench
from tests.benchmarks.web import web
from tests.benchmarks.whatif import whatif

BENCHES: dict[str, Callable[[argparse.Namespace], int]] = {
    "project": project,
    "whatif": whatif,
    "cents": cents,
    "evaluate": evaluate,
    "web": web,
    "start": start,
    "trace": trace_bench,
}


def main() -> int:
    """Run one bench; 1 when a result differs or a limit does not hold."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("name", choices=sorted(BENCHES))
    parser.add_argument("--n", type=int, default=2000, help="households (default 2000)")
    parser.add_argument("--runs", type=int, default=5, help="rounds that count (default 5)")
    parser.add_argument("--mem", action="store_true", help="project: memory instead of time")
    parser.add_argument("--flat", action="store_true", help="web: a late page of a large book")
    parser.add_argument(
        "--slack", type=float, default=1.0, help="loosen time limits, 1.3 on a busy machine"
    )
    asked = parser.parse_args()
    return BENCHES[asked.name](asked)


if __name__ == "__main__":
    sys.exit(main())
