"""Statements come in any order, together or apart, again and again, and out of it one book."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from ledger.core.close import evaluate
from ledger.core.report import report_json
from ledger.mapping import household_value
from ledger.services.households import load_households
from planning.access import Access
from planning.core.types import Household
from planning.core.types import Statement as Value
from planning.services.firms import create_firm
from tests.examples import examples
from tests.ledger.services.importing.test_importing import (
    SAMPLE,
    STEADY,
    imports,
    plain,
    with_dearer_interest,
    written,
)

pytestmark = pytest.mark.django_db

REF = SAMPLE["household"]["ref"]
MONTHS = sorted({one.starts for one in STEADY.statements})[:3]
# A purchase that names its draw waits for the draw's own statement; these name none.
STATEMENTS = tuple(
    replace(one, entries=tuple(replace(entry, source=None) for entry in one.entries))
    for one in STEADY.statements
    if one.starts in MONTHS
)
LINE = tuple(one for one in STATEMENTS if one.account == "line")
FORMS = st.integers(0, 2)


def empty_book() -> Access:
    """A firm of its own that holds the household's people and accounts."""
    access = Access.system(create_firm(name=f"Lantern Ridge {uuid4()}").pk, "test")
    bare = SAMPLE | {"statements": [], "uses": []}
    load_households(access=access, files=[("steady.json", json.dumps(bare).encode())])
    return access


def value(access: Access) -> Household:
    """What the book holds."""
    with access.opened():
        return household_value(access.household(REF))


def take(access: Access, *files: tuple[str, bytes]) -> int:
    """Import files; how many postings were new."""
    result = imports(access, *files)
    assert result.problems == ()
    return sum(one["imported"] for one in result.answers)


def dealt(
    whole: Sequence[Value], order: Sequence[int], cuts: Sequence[bool], forms: Sequence[int]
) -> list[list[tuple[str, bytes]]]:
    """The statements as files in an order, in as many lots as there are cuts."""
    lots: list[list[tuple[str, bytes]]] = [[]]
    for place in order:
        if cuts[place] and lots[-1]:
            lots.append([])
        lots[-1].append(written(whole[place], forms[place]))
    return lots


# No shrinking: every example is a book of its own, and takes a second.
FEW = settings(
    deadline=None,
    max_examples=examples(2),
    suppress_health_check=list(HealthCheck),
    phases=(Phase.explicit, Phase.generate),
)
COUNT = len(STATEMENTS)
EACH_FORM = st.lists(FORMS, min_size=COUNT, max_size=COUNT)


@FEW
@given(
    order=st.permutations(range(COUNT)),
    cuts=st.lists(st.booleans(), min_size=COUNT, max_size=COUNT),
    forms=EACH_FORM,
    other=EACH_FORM,
)
def test_any_order_and_any_parting_of_the_files_gives_the_same_book(
    order: list[int], cuts: list[bool], forms: list[int], other: list[int]
) -> None:
    """P15, P16: and each file again, in whatever form, brings nothing new."""
    access = empty_book()
    lots = dealt(STATEMENTS, order, cuts, forms)
    new = sum(take(access, *lot) for lot in lots)
    assert new == sum(len(one.entries) for one in STATEMENTS)
    found = value(access)
    assert plain(found.statements) == plain(STATEMENTS)
    for lot in (*lots, *dealt(STATEMENTS, order, cuts, other)):
        assert take(access, *lot) == 0
    assert value(access) == found


@FEW
@given(place=st.integers(0, len(LINE) - 1), forms=st.permutations(range(3)))
def test_a_restatement_back_to_the_original_gives_the_original_numbers(
    place: int, forms: list[int]
) -> None:
    """P17: to the byte of the report, the three statements of the period all on record."""
    access = empty_book()
    take(access, *(written(one, forms[0]) for one in STATEMENTS))
    before = report_json(evaluate(value(access)))
    original = LINE[place]
    if not any(entry.kind == "interest" for entry in original.entries):
        original = LINE[1]
    assert take(access, written(with_dearer_interest(original), forms[1])) == 1
    assert report_json(evaluate(value(access))) != before
    assert take(access, written(original, forms[2])) == 1
    assert report_json(evaluate(value(access))) == before
