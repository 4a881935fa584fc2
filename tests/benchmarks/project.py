"""`project`: a whole book against the loops that do the same plan, and its memory."""

from __future__ import annotations

import resource
import tempfile
import time
import tracemalloc
from argparse import Namespace
from pathlib import Path

import numpy as np

from planning.core.kernel.book import plan_book, play
from planning.core.kernel.exact import Ints
from planning.core.kernel.loading import Loaded, load
from planning.core.plan import run_plan
from planning.core.types import Household
from tests.benchmarks import books, compiled, decimal_loop, financial_loop, spreadsheet
from tests.benchmarks.decimal_loop import KEYS
from tests.benchmarks.measure import Limit, Rival, in_turns, report, write

SAMPLE = 20
SHEETS = 33
TIMES_DECIMAL = 200.0
TIMES_BARE = 9.0
TIMES_SCALAR = 300.0


def project(asked: Namespace) -> int:
    """Time the book; the exit code."""
    households = books.book(asked.n)
    loaded = load(households)
    if asked.mem:
        return _memory(loaded)
    _one_process(households)
    ours = _figures(loaded)
    sample = households[:SAMPLE]
    _check_loops(sample, ours)
    part = len(sample) / len(households)
    rivals = [
        Rival("ours, loaded book", lambda: _figures(loaded)),
        Rival("Decimal loop", lambda: [decimal_loop.project(one) for one in sample], part),
        Rival("our scalar engine", lambda: [run_plan(one) for one in sample], part),
        Rival("five bare roundings", lambda: _bare(loaded)),
    ]
    found = np.asarray(financial_loop.project(loaded), dtype=np.int64)
    unequal = int((found != ours).any(axis=0).sum())
    rivals.append(Rival("numpy-financial, floats", lambda: financial_loop.project(loaded)))
    with tempfile.TemporaryDirectory() as folder:
        library = compiled.build(Path(folder))
        if library is None:
            write("skipped: the compiled loop needs gcc, which is not installed")
        else:
            run = compiled.prepared(library, loaded)
            assert np.array_equal(run(), ours), "the compiled loop differs"
            rivals.append(Rival("compiled C loop", run))
        in_turns(rivals, asked.runs)
        more = _spreadsheet(households, ours, rivals, Path(folder))
    limits = [
        Limit("Decimal loop", at_least=TIMES_DECIMAL / asked.slack),
        Limit("five bare roundings", at_most=TIMES_BARE * asked.slack),
        Limit("our scalar engine", at_least=TIMES_SCALAR / asked.slack),
    ]
    more["financial_households_with_wrong_cents"] = unequal
    return report("project", asked.n, rivals, limits, more)


def _spreadsheet(
    households: list[Household], ours: Ints, rivals: list[Rival], folder: Path
) -> dict[str, object]:
    """The spreadsheet as a rival, by the household, its start left out."""
    some = households[:SHEETS]
    expected = [ours[:, place].tolist() for place in range(len(some))]
    found = spreadsheet.compare(some, expected, folder)
    if found is None:
        write("skipped: the spreadsheet needs LibreOffice, which is not installed")
        return {}
    write(
        f"spreadsheet: {found['cold_seconds']:.2f} s to open and recalculate one household, cold; "
        f"{found['per_household'] * 1000:.0f} ms of processor time for each further one; "
        f"{found['unequal']:.0f} of {len(some) * len(KEYS)} figures differ"
    )
    rival = Rival("LibreOffice, a sheet each", lambda: None, 1 / len(households))
    rival.times.append(found["per_household"])
    rivals.append(rival)
    return {"spreadsheet_figures_unequal": int(found["unequal"])}


def _one_process(households: list[Household]) -> None:
    """The whole way, from households in memory to figures: time and the process's peak memory."""
    begun = time.process_time()
    plan_book(households)
    passed = time.process_time() - begun
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    months = households[0].plan.months if households[0].plan else 0
    write(
        f"{len(households):,} households x {months} months checked, loaded and planned in one "
        f"process: {passed:.2f} s, peak memory of the process {peak} MB"
    )


def _figures(loaded: Loaded) -> Ints:
    """The figures of KEYS by plan."""
    out = np.zeros((len(KEYS), loaded.size), dtype=np.int64)
    for part, left in play(loaded):
        assert not left.size, "a plan of this book left the family"
        figures = {**part.totals, **part.closing}
        for index, key in enumerate(KEYS):
            out[index, part.places] = figures[key]
    return out


def _check_loops(sample: list[Household], ours: Ints) -> None:
    """Every loop and the scalar engine give the same cents as the arrays."""
    for place, one in enumerate(sample):
        rows = run_plan(one).rows
        scalar = [
            getattr(rows[-1], key)
            if key.endswith("_closing")
            else sum(getattr(row, key) for row in rows)
            for key in KEYS
        ]
        assert scalar == ours[:, place].tolist(), f"{one.ref}: the scalar engine differs"
        assert list(decimal_loop.project(one)) == scalar, f"{one.ref}: the Decimal loop differs"
    assert plan_book(sample).totals["deductible"].tolist() == ours[2, : len(sample)].tolist()


def _bare(loaded: Loaded) -> None:
    """Only the roundings, five a month, by one floor of a float quotient each."""
    amounts = loaded.column("mortgage").astype(np.float64)
    half, scale = 60_000.0, 1 / 120_000.0
    for _ in range(5 * int(loaded.column("months")[0])):
        np.floor((amounts * 545.0 + half) * scale)


def _memory(loaded: Loaded) -> int:
    """Peak memory above the loaded book, against the bytes of its arrays."""
    for _part, _left in play(loaded):
        pass
    tracemalloc.start()
    for _part, _left in play(loaded):
        pass
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    ratio = peak / loaded.nbytes
    write(
        f'{{"bench": "project --mem", "n": {loaded.size}, "floor_bytes": {loaded.nbytes}, '
        f'"ours_bytes": {peak}, "ratio": {ratio:.3f}}}'
    )
    write(f"\nat most 1 x the loaded arrays: {'holds' if ratio <= 1 else 'FAILS'}")
    return 0 if ratio <= 1 else 1
