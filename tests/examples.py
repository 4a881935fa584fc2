"""How many examples a property is tried on: few in every run, many by night."""

from __future__ import annotations

import os

VARIABLE = "TOWPATH_HYPOTHESIS"


def examples(few: int) -> int:
    """`few`, or what TOWPATH_HYPOTHESIS says when that is more."""
    return max(few, int(os.environ.get(VARIABLE, "0")))
