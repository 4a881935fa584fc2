"""The compiled loop: built with gcc for this run, or absent with a line that says so."""

from __future__ import annotations

import ctypes
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np

from planning.core.kernel.calendar import days_of
from planning.core.kernel.exact import Ints
from planning.core.kernel.loading import Loaded

SOURCE = Path(__file__).with_name("loop.c")
INPUTS = (
    *("pay_day", "contractual", "payment", "rate", "mortgage", "cap65", "line_cap"),
    *("registered", "excess", "privilege", "reserve", "line_rate", "growth"),
    *("yield_eligible_dividend", "yield_foreign", "tax_eligible_dividend", "tax_foreign"),
    *("ordinary", "refund_month", "start"),
)


def build(folder: Path) -> ctypes.CDLL | None:
    """The loop as a library, or None without a compiler."""
    gcc = shutil.which("gcc")
    if gcc is None:
        return None
    target = folder / "loop.so"
    options = ["-O3", "-march=native", "-shared", "-fPIC"]
    subprocess.run([gcc, *options, "-o", str(target), str(SOURCE)], check=True)
    return ctypes.CDLL(str(target))


def prepared(library: ctypes.CDLL, loaded: Loaded) -> Callable[[], Ints]:
    """The loop over these plans, ready to run: ten rows of figures in the order of KEYS."""
    size = loaded.size
    table = np.ascontiguousarray(np.stack([loaded.column(name) for name in INPUTS]))
    order = np.lexsort((loaded.changes[:, 1], loaded.changes[:, 0]))
    changes = np.ascontiguousarray(loaded.changes[order][:, [1, 2, 4]])
    since = np.searchsorted(loaded.changes[order][:, 0], np.arange(size + 1)).astype(np.int64)
    base = int(loaded.column("start").min())
    months = int(loaded.column("months")[0])
    last = int(loaded.column("start").max()) + months
    days = np.ascontiguousarray(days_of(np.arange(base, last + 1)))
    out = np.zeros((10, size), dtype=np.int64)

    def pointer(array: Ints) -> ctypes.c_void_p:
        return ctypes.c_void_p(array.ctypes.data)

    def run() -> Ints:
        library.project(
            ctypes.c_int64(size), ctypes.c_int64(months), pointer(table), pointer(changes),
            pointer(since), pointer(days), ctypes.c_int64(base), pointer(out),
        )  # fmt: skip
        return out

    return run
