"""A request runs in its user's firm, and in no firm without one."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import AnonymousUser
from django.db import connection
from django.http import HttpRequest, HttpResponse

from config.database import UnscopedError, current_firm
from config.models import User
from planning.middleware import FirmOfUser
from planning.models import Household
from tests.cast import Cast


def answer(request: HttpRequest) -> HttpResponse:
    refs = ",".join(sorted(one.ref for one in request.access.households()))
    return HttpResponse(f"{current_firm()} {refs}")


def ask(user: object) -> HttpResponse:
    request = HttpRequest()
    request.user = user
    return FirmOfUser(answer)(request)


def test_a_request_sees_its_users_book(cast: Cast):
    assert ask(cast.advisor).content.decode() == f"{cast.firm.pk} HH-1"
    assert ask(cast.stranger).content.decode() == f"{cast.other_firm.pk} HH-1"


def test_nothing_of_the_firm_stays_on_the_connection(cast: Cast):
    ask(cast.advisor)
    assert current_firm() is None
    with connection.cursor() as cursor:
        cursor.execute("SELECT current_setting('app.firm_id', true)")
        assert cursor.fetchone()[0] in (None, "")
        cursor.execute("SELECT count(*) FROM planning_household")
        assert cursor.fetchone()[0] == 0


@pytest.mark.django_db
def test_nobody_has_no_firm():
    seen = []

    def view(request: HttpRequest) -> HttpResponse:
        seen.append((request.access, current_firm()))
        with pytest.raises(UnscopedError):
            Household.objects.count()
        return HttpResponse()

    for user in (AnonymousUser(), User.objects.create_user("alone@example.org")):
        request = HttpRequest()
        request.user = user
        request.session = {}
        FirmOfUser(view)(request)
    assert seen == [(None, None), (None, None)]
