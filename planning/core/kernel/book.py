"""The plan of a whole book: every household equal to the cent with `run_plan`.

Plans inside the family are played in blocks of arrays; every other plan, and
every plan that leaves the family while it runs, by the scalar engine. Nothing
is approximated, and no month is stored that was not asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from config.problems import BadInput, Problem
from planning.core.kernel.block import Block
from planning.core.kernel.exact import Ints
from planning.core.kernel.family import outside
from planning.core.kernel.loading import NAMES, SORTED_BY, Loaded, Openings, load
from planning.core.kernel.single import play_alone
from planning.core.kernel.sums import CLOSING, TOTALS
from planning.core.plan import run_plan
from planning.core.plan_problems import plan_problems
from planning.core.plan_types import ROW_KEYS, PlanRow
from planning.core.types import Household

BLOCK = 10_240
"""The most plans in one block; larger ones cost memory and win little."""
FEW = 16
"""Fewer plans than this in one block are quicker one by one."""
FEWEST = 4
"""Of those, unusual plans fewer than this are quicker by the scalar engine."""


@dataclass(frozen=True, slots=True)
class Part:
    """The result of some plans of a book. Amounts in cents.

    `places` are their places in the book. `totals` and `closing` hold an array
    by key, `kept` an array of months x plans for each column asked for.
    """

    places: Ints
    totals: dict[str, Ints]
    closing: dict[str, Ints]
    kept: dict[str, Ints]


@dataclass(frozen=True, slots=True)
class BookResult:
    """A book played out, in the order given. Amounts in cents.

    `totals` are flows over each plan, `closing` the figures of its last month.
    `kept` holds months x plans for each column asked for, zero past a plan's
    end. `scalar` marks the plans played one by one. A household whose plan
    cannot be played is all zero and has its problems in `refused`, by place.
    """

    totals: dict[str, Ints]
    closing: dict[str, Ints]
    kept: dict[str, Ints]
    scalar: tuple[int, ...]
    refused: dict[int, tuple[Problem, ...]]


_NOBODY: Ints = np.zeros(0, dtype=np.int64)
Receive = Callable[[Part], None]


def plan_book(
    households: Sequence[Household],
    *,
    openings: Sequence[Openings] | None = None,
    keep: tuple[str, ...] = (),
    receive: Receive | None = None,
) -> BookResult:
    """Play the plans of a book, or the scenarios of one household.

    `openings` are the lines' traced classes by household, as `run_plan` takes
    them. `keep` names row columns whose months are returned. With `receive` those
    months go to it block by block instead and are forgotten, so that memory
    stays at one block's trajectories. Households without a plan are all zero.
    """
    inside, others, refused = _choose(households)
    whole = _Whole(households, openings, keep, receive)
    whole.refused.update(refused)
    if inside:
        traced = [openings[place] for place in inside] if openings else None
        loaded = load([households[place] for place in inside], traced)
        for part, left in play(loaded, keep, few=FEW, fewest=FEWEST):
            places = np.array(inside, dtype=np.int64)[part.places]
            whole.take(Part(places, part.totals, part.closing, part.kept), places[left])
    whole.one_by_one(others)
    return whole.result()


def _choose(
    households: Sequence[Household],
) -> tuple[list[int], list[int], dict[int, tuple[Problem, ...]]]:
    """Places for the arrays, places for the scalar engine, and problems by place."""
    inside: list[int] = []
    others: list[int] = []
    refused: dict[int, tuple[Problem, ...]] = {}
    for place, household in enumerate(households):
        if household.plan is None:
            continue
        problems = plan_problems(household, household.ref)
        if problems:
            refused[place] = tuple(problems)
        elif outside(household) is None:
            inside.append(place)
        else:
            others.append(place)
    return inside, others, refused


def play(
    loaded: Loaded, keep: tuple[str, ...] = (), *, few: int = 0, fewest: int = 1
) -> Iterator[tuple[Part, Ints]]:
    """Play loaded plans block by block: each part, and its columns that left the family.

    The figures of a column that left must be replaced by the scalar engine's. A block of
    fewer than `few` plans is played plan by plan. All columns of a block with fewer than
    `fewest` plans have left: they are not played.
    """
    for places in _blocks(loaded, few):
        if len(places) < few:
            part, unplayed = _alone(_taken(loaded, places), places, keep)
            yield part, _NOBODY
            if len(unplayed):
                rest = _taken(loaded, unplayed)
                for some in _blocks(rest, 0):
                    yield _played(_taken(rest, some), unplayed[some], keep, fewest)
            continue
        yield _played(_taken(loaded, places), places, keep, fewest)


def _played(loaded: Loaded, places: Ints, keep: tuple[str, ...], fewest: int) -> tuple[Part, Ints]:
    block = Block(loaded, keep)
    if len(places) < fewest:
        block.left[:] = True
    else:
        block.run()
    sums = block.sums
    return Part(places, sums.totals, sums.closing, sums.kept), np.flatnonzero(block.left)


def _alone(loaded: Loaded, places: Ints, keep: tuple[str, ...]) -> tuple[Part, Ints]:
    """Plans played one by one: their part, and the places of those that could not be."""
    found = list(play_alone(loaded, months_wanted=bool(keep)))
    chosen = [index for index, one in enumerate(found) if one is not None]
    played = [one for one in found if one is not None]
    rows = np.array([one.rows for one in played] if keep else [], dtype=np.int64)
    part = Part(
        places[chosen],
        {key: np.array([one.totals[key] for one in played], dtype=np.int64) for key in TOTALS},
        {key: np.array([one.closing[key] for one in played], dtype=np.int64) for key in CLOSING},
        {key: rows[:, :, ROW_KEYS.index(key)].T for key in keep if played},
    )
    return part, np.delete(places, chosen)


def _blocks(loaded: Loaded, few: int) -> Iterator[Ints]:
    """Places that may share a block: like plans side by side.

    Fewer than `few` plans of one length stay together: they are played plan by plan.
    """
    months = loaded.column("months")
    if 0 < loaded.size < few and (months == months[0]).all():
        yield np.arange(loaded.size)
        return
    keys = [loaded.column(name) for name in reversed(SORTED_BY)]
    order: Ints = np.lexsort(keys).astype(np.int64)
    start = loaded.column("start")
    # Length, compounding and the way interest is paid must agree within a block.
    fixed = loaded.table[:3, order]
    cuts = np.flatnonzero((np.diff(fixed, axis=1) != 0).any(axis=0)) + 1
    for group in np.split(order, cuts.tolist()):
        for block in np.array_split(group, -(-len(group) // BLOCK)):
            # Within it, those whose year ends in the same month stand together.
            yield block[np.argsort(start[block] % 12, kind="stable")]


def _taken(loaded: Loaded, places: Ints) -> Loaded:
    """The plans at some places, renumbered."""
    if len(places) == loaded.size and (places == np.arange(loaded.size)).all():
        return loaded
    new = np.full(loaded.size, -1, dtype=np.int64)
    new[places] = np.arange(len(places))
    events = []
    for rows in (loaded.changes, loaded.steps, loaded.extras):
        chosen = rows[new[rows[:, 0]] >= 0]
        chosen[:, 0] = new[chosen[:, 0]]
        events.append(chosen)
    return Loaded(np.ascontiguousarray(loaded.table[:, places]), *events)


class _Whole:
    """The book's result while its parts come in."""

    def __init__(
        self,
        households: Sequence[Household],
        openings: Sequence[Openings] | None,
        keep: tuple[str, ...],
        receive: Receive | None,
    ) -> None:
        self.households = households
        self.openings = openings
        self.keep = keep
        self.receive = receive
        size = len(households)
        months = max((one.plan.months for one in households if one.plan), default=0)
        self.totals = {key: np.zeros(size, dtype=np.int64) for key in TOTALS}
        self.closing = {key: np.zeros(size, dtype=np.int64) for key in CLOSING}
        shape = (0 if receive else months, size)
        self.kept = {key: np.zeros(shape, dtype=np.int64) for key in keep if not receive}
        self.scalar: list[int] = []
        self.refused: dict[int, tuple[Problem, ...]] = {}

    def take(self, part: Part, left: Ints) -> None:
        """Take a block in; the plans that left the family are played one by one."""
        for place in left.tolist():
            self._replace(part, int(np.flatnonzero(part.places == place)[0]), place)
        for key, found in part.totals.items():
            self.totals[key][part.places] = found
        for key, found in part.closing.items():
            self.closing[key][part.places] = found
        for key, found in part.kept.items():
            if self.receive is None:
                self.kept[key][: found.shape[0], part.places] = found
        if self.receive is not None and len(part.places):
            self.receive(part)

    def one_by_one(self, places: Sequence[int]) -> None:
        """Play plans with the scalar engine."""
        for place in places:
            plan = self.households[place].plan
            assert plan is not None
            part = Part(
                np.array([place], dtype=np.int64),
                {key: np.zeros(1, dtype=np.int64) for key in TOTALS},
                {key: np.zeros(1, dtype=np.int64) for key in CLOSING},
                {key: np.zeros((plan.months, 1), dtype=np.int64) for key in self.keep},
            )
            self.take(part, part.places)

    def _replace(self, part: Part, column: int, place: int) -> None:
        self.scalar.append(place)
        rows: tuple[PlanRow, ...] = ()
        traced = self.openings[place] if self.openings else None
        try:
            rows = run_plan(self.households[place], traced).rows
        except BadInput as error:
            self.refused[place] = tuple(error.problems)
        for key, found in part.totals.items():
            found[column] = sum(getattr(row, key) for row in rows)
        for key, found in part.closing.items():
            found[column] = getattr(rows[-1], key) if rows else 0
        for key, found in part.kept.items():
            found[:, column] = [getattr(row, key) for row in rows] if rows else 0

    def result(self) -> BookResult:
        """What the book came to."""
        return BookResult(
            self.totals, self.closing, self.kept, tuple(sorted(self.scalar)), self.refused
        )


assert SORTED_BY[:3] == ("months", "simple", "mode"), NAMES
