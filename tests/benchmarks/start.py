"""`start`: a web process until it can answer, against importing Django alone."""

from __future__ import annotations

import os
import subprocess
import sys
from argparse import Namespace

from tests.benchmarks.measure import write

MOST = 3.0
FLOOR = "import django"
OURS = "import config.wsgi; from django.urls import get_resolver; get_resolver().url_patterns"


def start(asked: Namespace) -> int:
    """Processor time of a fresh interpreter: the web application against `import django`."""
    times: dict[str, list[float]] = {FLOOR: [], OURS: [], "pass": []}
    for count in range(asked.runs + 1):
        for code, held in times.items():
            before = os.times()
            subprocess.run([sys.executable, "-c", code], check=True)
            after = os.times()
            if count:
                held.append(
                    after.children_user
                    - before.children_user
                    + after.children_system
                    - before.children_system
                )
    floor, ours, bare = (sorted(times[one])[asked.runs // 2] for one in (FLOOR, OURS, "pass"))
    write(
        f"interpreter {bare * 1000:.0f} ms, import django {floor * 1000:.0f} ms, ",
    )
    write(f"web process ready {ours * 1000:.0f} ms: {ours / floor:.1f} x import django")
    holds = ours <= MOST * floor * asked.slack
    write(f"{'holds' if holds else 'FAILS'}: at most {MOST:g} x import django")
    return 0 if holds else 1
