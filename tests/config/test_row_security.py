"""The database itself keeps firms apart and facts as they are, whatever the code does."""

from __future__ import annotations

import uuid

import pytest
from django.db import IntegrityError, connection, connections, transaction
from django.db.utils import ProgrammingError

from config.database import UnscopedError, current_firm, firm_scope, user_scope
from config.database.append_only import maintenance
from ledger.selectors.checks.schema import owned_models
from planning.models import Firm, Household, HouseholdVersion, Membership
from tests.cast import Cast, make_cast

OWNED = [model._meta.db_table for model in owned_models()]
FACTS = [model._meta.db_table for model in owned_models() if model.facts]


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast("papers")


def ask(question: str, values: list[object] | None = None) -> list[tuple[object, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(question, values)
        return cursor.fetchall() if cursor.description else []


def on(words: str, table: str) -> str:
    """A statement on one of our own tables."""
    return words.replace("{}", table)


def count(table: str) -> int:
    return ask(on("SELECT count(*) FROM {}", table))[0][0]


def test_there_are_tables_to_look_at():
    assert len(OWNED) > 25
    assert len(FACTS) > 15


def test_without_a_scope_every_table_is_empty(cast: Cast):
    for table in [*OWNED, "planning_firm"]:
        assert count(table) == 0, table


def test_within_a_scope_no_table_shows_another_firm(cast: Cast):
    for firm in (cast.firm, cast.other_firm):
        with firm_scope(firm.pk):
            for table in OWNED:
                firms = {row[0] for row in ask(on("SELECT DISTINCT firm_id FROM {}", table))}
                assert firms <= {firm.pk}, table
            assert ask("SELECT id FROM planning_firm") == [(firm.pk,)]


def test_the_tables_of_a_household_do_hold_rows(cast: Cast):
    filled = {"planning_account", "ledger_statement", "ledger_statemententry", "ledger_usesplit"}
    with firm_scope(cast.firm.pk):
        assert min(count(table) for table in filled) > 0


def test_a_row_of_another_firm_cannot_be_written(cast: Cast):
    with (
        pytest.raises(ProgrammingError, match="row-level security"),
        firm_scope(cast.firm.pk),
    ):
        Household.objects.create(
            firm_id=cast.other_firm.pk, ref="HH-9", name="Smuggled", province="ON"
        )


def test_a_row_cannot_be_moved_to_another_firm(cast: Cast):
    with (
        pytest.raises(ProgrammingError, match="row-level security"),
        firm_scope(cast.firm.pk),
    ):
        Household.objects.filter(pk=cast.household.pk).update(firm_id=cast.other_firm.pk)


def test_a_row_cannot_point_into_another_firm(cast: Cast):
    with pytest.raises(IntegrityError, match="same_firm"), firm_scope(cast.firm.pk):
        HouseholdVersion.objects.create(
            firm_id=cast.firm.pk,
            household_id=cast.strangers_household.pk,
            number=7,
            digest="0" * 64,
        )


def test_a_row_cannot_point_nowhere(cast: Cast):
    with pytest.raises(IntegrityError, match="same_firm"), firm_scope(cast.firm.pk):
        HouseholdVersion.objects.create(
            firm_id=cast.firm.pk, household_id=uuid.uuid4(), number=7, digest="0" * 64
        )


@pytest.mark.parametrize("table", FACTS)
def test_the_application_may_not_change_a_fact(cast: Cast, table: str):
    for act in ("UPDATE {} SET firm_id = firm_id", "DELETE FROM {}"):
        with pytest.raises(ProgrammingError, match="permission denied"), firm_scope(cast.firm.pk):
            ask(on(act, table))


@pytest.mark.django_db(databases=["default", "owner"], transaction=True)
def test_the_owner_may_not_change_a_fact_either_but_in_maintenance():
    cast = make_cast()
    for act in (
        "UPDATE planning_planversion SET reason = 'better'",
        "DELETE FROM planning_planversion",
        "TRUNCATE planning_planversion",
    ):
        with (
            pytest.raises(IntegrityError, match="refused"),
            connections["owner"].cursor() as cursor,
        ):
            cursor.execute(act)
    with maintenance(), connections["owner"].cursor() as cursor:
        cursor.execute("UPDATE planning_planversion SET reason = 'mended'")
    with firm_scope(cast.firm.pk):
        assert ask("SELECT DISTINCT reason FROM planning_planversion") == [("mended",)]


def test_the_application_cannot_declare_maintenance(cast: Cast):
    with (
        pytest.raises(ProgrammingError, match="permission denied"),
        firm_scope(cast.firm.pk),
        connection.cursor() as cursor,
    ):
        cursor.execute("SET LOCAL towpath.maintenance = 'on'; DELETE FROM planning_planversion")


def test_queries_outside_every_scope_are_refused(cast: Cast):
    for attempt in (
        lambda: list(Household.objects.all()),
        Household.objects.count,
        lambda: Household.objects.filter(ref="HH-1").exists(),
        lambda: Household.objects.get(ref="HH-1"),
        lambda: Household.objects.update(name="x"),
        lambda: list(Household.objects.iterator()),
        Household.objects.aggregate,
        Firm.objects.first,
        lambda: Household.objects.bulk_create([Household(firm=cast.firm, ref="x")]),
    ):
        with pytest.raises(UnscopedError):
            attempt()


def test_a_queryset_may_be_built_outside_and_read_inside(cast: Cast):
    rows = Household.objects.order_by("ref")
    with firm_scope(cast.firm.pk):
        assert [one.ref for one in rows] == ["HH-1", "HH-2"]


def test_scopes_nest_and_restore(cast: Cast):
    with firm_scope(cast.firm.pk):
        with firm_scope(cast.other_firm.pk):
            assert current_firm() == cast.other_firm.pk
            assert Household.objects.count() == 1
        assert current_firm() == cast.firm.pk
        assert Household.objects.count() == 2
        with pytest.raises(RuntimeError, match="inside"), firm_scope(cast.other_firm.pk):
            raise RuntimeError("inside")
        assert Household.objects.count() == 2
    assert current_firm() is None
    assert ask("SELECT count(*) FROM planning_household") == [(0,)]


@pytest.mark.django_db(databases=["default", "owner"], transaction=True)
def test_a_scope_ends_with_its_transaction():
    cast = make_cast()
    with firm_scope(cast.firm.pk):
        assert Household.objects.count() == 2
    assert ask("SELECT count(*), current_setting('app.firm_id', true) FROM planning_household") == [
        (0, "")
    ]


def test_a_user_finds_their_own_membership_and_nothing_else(cast: Cast):
    with user_scope(cast.advisor.pk):
        assert [one.user_id for one in Membership.objects.all()] == [cast.advisor.pk]
        assert Household.objects.count() == 0
        with pytest.raises(ProgrammingError), transaction.atomic():
            ask("UPDATE planning_membership SET role = 'principal' RETURNING nonsense")
        assert Membership.objects.update(role="principal") == 0


def test_schedulers_learn_ids_and_nothing_else(cast: Cast):
    ids = ask("SELECT * FROM towpath_firm_ids()")
    assert {row[0] for row in ids} >= {cast.firm.pk, cast.other_firm.pk}
    assert [len(row) for row in ids] == [1] * len(ids)


def test_a_rate_keeps_its_zeros(cast: Cast):
    from decimal import Decimal

    from planning.models import PrimeRate

    with firm_scope(cast.firm.pk):
        PrimeRate.objects.create(
            firm=cast.firm,
            household=cast.household,
            starts="1999-01-01",
            rate=Decimal("0.04500"),
        )
        found = PrimeRate.objects.get(household=cast.household, starts="1999-01-01")
    assert str(found.rate) == "0.04500"
