"""The tests run as the application runs: bound, on the owner's database."""

from __future__ import annotations

import pytest
from django.contrib.auth import get_user_model
from django.db import connection, connections
from django.db.utils import ProgrammingError

from config.database import roles
from config.database.router import OwnerMigrates

BOTH = pytest.mark.django_db(databases=["default", "owner"], transaction=True)


def ask(alias: str, question: str) -> tuple[object, ...]:
    with connections[alias].cursor() as cursor:
        cursor.execute(question)
        return cursor.fetchone()


@pytest.mark.django_db
def test_the_application_has_no_right_that_would_unbind_it():
    assert ask("default", "SELECT current_user") == (roles.APP_ROLE,)
    connection.ensure_connection()
    assert roles.weaknesses(connection.connection) == ()


@pytest.mark.django_db
def test_waits_and_statements_are_bounded():
    assert ask("default", "SHOW statement_timeout") == ("30s",)
    assert ask("default", "SHOW lock_timeout") == ("10s",)
    assert ask("default", "SHOW idle_in_transaction_session_timeout") == ("2min",)
    assert ask("default", "SHOW TimeZone") == ("UTC",)


@pytest.mark.django_db
def test_the_application_cannot_change_the_schema():
    with pytest.raises(ProgrammingError, match="permission denied"):
        ask("default", "CREATE TABLE mine (id int)")


@BOTH
def test_both_roles_see_one_database():
    assert ask("default", "SELECT current_database()") == ask("owner", "SELECT current_database()")
    assert ask("default", "SELECT current_user") != ask("owner", "SELECT current_user")


@BOTH
@pytest.mark.parametrize("turn", [1, 2])
def test_what_a_test_commits_is_gone_before_the_next(turn: int):
    from django.contrib.sessions.models import Session
    from django.utils import timezone

    assert Session.objects.count() == 0
    Session.objects.create(session_key=f"k{turn}", session_data="", expire_date=timezone.now())
    assert Session.objects.using("owner").count() == 1


def test_only_the_owner_migrates():
    router = OwnerMigrates()
    assert router.allow_migrate("owner", "ledger")
    assert not router.allow_migrate("default", "ledger")


@pytest.mark.django_db
def test_the_user_table_can_be_read_by_the_application():
    assert get_user_model().objects.count() >= 0
