"""`whatif`: one household on a page, and its nine variants."""

from __future__ import annotations

from argparse import Namespace

from planning.core.kernel import book
from planning.core.kernel.loading import load
from planning.core.kernel.single import play_alone
from planning.core.plan import run_plan
from tests.benchmarks import books, decimal_loop
from tests.benchmarks.measure import Limit, Rival, in_turns, report

ONE = "ours, one loaded"


def whatif(asked: Namespace) -> int:
    """Time nine variants: ours as `plan_book` answers them, from households to figures."""
    variants = books.variants(books.household(3))
    found = book.plan_book(variants)
    assert not found.scalar
    for place, one in enumerate(variants):
        rows = run_plan(one).rows
        for key, column in found.totals.items():
            assert int(column[place]) == sum(getattr(row, key) for row in rows), key
        assert decimal_loop.project(one)[2] == int(found.totals["deductible"][place])
    loaded = load(variants)
    alone = load(variants[:1])
    rivals = [
        Rival("ours, nine from their files' values", lambda: book.plan_book(variants)),
        Rival("Decimal loop, nine", lambda: [decimal_loop.project(one) for one in variants]),
        Rival("our scalar engine, nine", lambda: [run_plan(one) for one in variants]),
        Rival("ours, one from its file's values", lambda: book.plan_book(variants[:1])),
        Rival("ours, nine loaded", lambda: list(play_alone(loaded))),
        Rival(ONE, lambda: list(play_alone(alone))),
        Rival("Decimal loop, one", lambda: decimal_loop.project(variants[0])),
        Rival("our arrays, nine loaded", lambda: list(book.play(loaded))),
        Rival("our arrays, one loaded", lambda: list(book.play(alone))),
        Rival("our scalar engine, one", lambda: run_plan(variants[0])),
    ]
    in_turns(rivals, asked.runs)
    limits = [
        Limit("our scalar engine, nine", at_most=0.1 * asked.slack),
        Limit("Decimal loop, nine", at_least=2.5 / asked.slack),
        Limit("Decimal loop, one", at_least=2.5 / asked.slack, ours=ONE),
        Limit("our arrays, one loaded", at_least=10 / asked.slack, ours=ONE),
    ]
    return report("whatif", len(variants), rivals, limits, {})
