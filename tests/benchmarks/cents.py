"""`cents`: no wrong cent, counted against whole-number arithmetic without rounding."""

from __future__ import annotations

import json
import random
from argparse import Namespace

import numpy as np

from planning.core.kernel import exact
from planning.core.kernel.book import plan_book
from planning.core.money import round_ratio
from planning.core.plan import run_plan
from planning.core.plan_types import ROW_KEYS
from tests.benchmarks import books
from tests.benchmarks.measure import write

ROUNDINGS = 1_200_000
QUOTED = exact.SHORT // 10_000

KINDS: tuple[tuple[str, int, tuple[int, ...]], ...] = (
    ("yearly rate / 12, to 0.01%", exact.MONTHLY, tuple(range(100, 1000))),
    ("yearly rate / 12, to 0.05%", exact.MONTHLY, tuple(range(100, 1000, 5))),
    ("yearly rate / 12, quarter points", exact.MONTHLY, tuple(range(100, 1000, 25))),
    ("round shares", exact.SHORT, (5000, 1250, 500, 2500, 7500, 8333)),
    ("tax rates of four digits", exact.SHORT, tuple(range(1500, 5400))),
)


def cents(asked: Namespace) -> int:
    """Count wrong cents: by kind of rounding, then in every cell of a book. Exit code 1 for any."""
    wrong: dict[str, int] = {}
    per_kind = min(ROUNDINGS, asked.n * 1200)
    for name, denominator, quoted in KINDS:
        wrong[name] = _kind(per_kind, denominator, [one * QUOTED for one in quoted])
    wrong["half-yearly compounding, cut off"] = _cut_off(per_kind)
    wrong["rate x nights / 365"] = _nights(per_kind)
    households = books.book(min(1000, asked.n))
    result = plan_book(households, keep=ROW_KEYS)
    differing = cells = 0
    for place, one in enumerate(households):
        rows = run_plan(one).rows
        for key in ROW_KEYS:
            expected = np.array([getattr(row, key) for row in rows], dtype=np.int64)
            differing += int((expected != result.kept[key][:, place]).sum())
            cells += len(rows)
    wrong["cells of the book"] = differing
    write(json.dumps({"bench": "cents", "n": per_kind, "cells": cells, "wrong": wrong}))
    write("")
    for name, count in wrong.items():
        write(f"{name:36} {count:8} wrong")
    return 1 if any(wrong.values()) else 0


def _amounts(count: int) -> list[int]:
    dice = random.Random(count)
    return [dice.randrange(100, 150_000_000) for _ in range(count)]


def _kind(count: int, denominator: int, numerators: list[int]) -> int:
    amounts = _amounts(count)
    dice = random.Random(denominator)
    chosen = dice.choices(numerators, k=count)
    found = exact.Rate(np.array(chosen), denominator).times(np.array(amounts)).tolist()
    pairs = zip(amounts, chosen, found, strict=True)
    return sum(round_ratio(one * rate, denominator) != got for one, rate, got in pairs)


def _cut_off(count: int) -> int:
    """Rates with a hundred binary digits, of which the arrays see 61; doubts are not wrong."""
    amounts = _amounts(count)
    dice = random.Random(7)
    true = [dice.randrange(1 << 91, 1 << 93) for _ in range(count)]
    rate = exact.Rate(np.array([one >> 39 for one in true]), exact.FIXED, cut_off=True)
    found = rate.times(np.array(amounts)).tolist()
    rows = zip(amounts, true, found, rate.doubt.tolist(), strict=True)
    return sum(
        not unsure and round_ratio(one * part, 1 << 100) != got for one, part, got, unsure in rows
    )


def _nights(count: int) -> int:
    amounts = _amounts(count)
    dice = random.Random(8)
    money = [one * dice.randrange(30_000, 90_000, 500) * dice.randrange(28, 32) for one in amounts]
    year = 365 * 10**6
    found = exact.halved_up(np.array(money, dtype=np.float64), year // 2, year).tolist()
    return sum(round_ratio(one, year) != got for one, got in zip(money, found, strict=True))
