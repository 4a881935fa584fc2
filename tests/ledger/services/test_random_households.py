"""Random lives through the book: exact, idempotent, sound, and known as they were."""

from __future__ import annotations

import json

import pytest
from django.db import connection

from ledger.mapping import household_value
from ledger.selectors.checks import check_book
from ledger.services.households import load_households
from planning.access import Access
from planning.core.household_file import household_to_json
from planning.core.types import Household
from planning.services.firms import create_firm
from tests.ledger.core.random_households import random_life

SEEDS = range(12)


def content(household: Household) -> bytes:
    return json.dumps(household_to_json(household)).encode()


def cut(household: Household, months: int) -> bytes:
    """The same household earlier in its life: statements and uses of its first months."""
    data = household_to_json(household)
    ends = sorted({one.ends for one in household.statements})[:months]
    data["statements"] = [
        row
        for row, one in zip(data["statements"], household.statements, strict=True)
        if one.ends in ends
    ]
    known = {entry["id"] for row in data["statements"] for entry in row["entries"]}
    data["uses"] = [row for row in data["uses"] if row["draw"] in known]
    for row in data["statements"]:
        for entry in row["entries"]:
            if entry.get("from") not in known:
                entry.pop("from", None)
    return json.dumps(data).encode()


@pytest.mark.django_db
@pytest.mark.parametrize("seed", SEEDS)
def test_a_random_life_goes_through_the_book_unchanged(seed: int):
    value = random_life(seed, lines=1 + seed % 3)
    firm = create_firm(name="Lockkeepers")
    access = Access.system(firm.pk, "test")
    load_households(access=access, files=[("early.json", cut(value, 4))])
    with connection.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        (moment,) = cursor.fetchone()
    with access.opened():
        early = household_value(access.household(value.ref))
    load_households(access=access, files=[("whole.json", content(value))])
    with access.opened():
        row = access.household(value.ref)
        found = household_value(row)
        assert household_value(row, moment) == early
    order = {one: place for place, one in enumerate(value.statements)}
    assert sorted(found.statements, key=order.__getitem__) == list(value.statements)
    assert {one.draw: one for one in found.uses} == {one.draw: one for one in value.uses}
    assert (found.members, found.plan, found.prime) == (value.members, value.plan, value.prime)
    (again,) = load_households(access=access, files=[("again.json", content(value))])
    assert not again.changed
    assert check_book([firm]).faults == ()


@pytest.mark.django_db
def test_reading_a_household_takes_the_same_queries_however_long_its_life(
    django_assert_num_queries: object,
):
    access = Access.system(create_firm(name="Lockkeepers").pk, "test")
    for seed, months in ((1, 2), (2, 20)):
        value = random_life(seed, lines=2, months=months)
        load_households(access=access, files=[("one.json", content(value))])
        with access.opened():
            row = access.household(value.ref)
            with django_assert_num_queries(20):
                household_value(row)
