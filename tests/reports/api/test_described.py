"""The description, its page, the tokens' page, and a machine that tries everything."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from io import StringIO
from typing import Any

import pytest
import schemathesis
from django.core.management import call_command
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from hypothesis import HealthCheck, given, settings
from schemathesis.checks import not_a_server_error, response_schema_conformance

from config.middleware import SIGNED_IN_AT
from planning.models import ApiToken
from tests.reports import sample
from tests.reports.api.conftest import Program, program_of
from tests.reports.conftest import Book

EXAMPLES = 2
ROLES = ("principal", "advisor", "assistant", "client")


@pytest.fixture
def kept_connection() -> Iterator[None]:
    """The application as it is served, in the transaction of the test: it stays connected."""
    signals = (request_started, request_finished)
    for one in signals:
        one.disconnect(close_old_connections)
    yield
    for one in signals:
        one.connect(close_old_connections)


def test_the_description_has_no_faults_and_no_gaps():
    call_command("spectacular", validate=True, fail_on_warn=True, stdout=StringIO())


def test_the_description_says_every_error_once(shared_book: Book):
    program = program_of(shared_book.people["client"])
    found = program.get("openapi.json").json()
    assert found["openapi"].startswith("3.1")
    assert shared_book.signed_in("client").get("/api/v1/openapi.json").json() == found
    assert Program("", program.client).get("openapi.json").status_code == 401
    for path, operations in found["paths"].items():
        for method, one in operations.items():
            for status in ("401", "403", "404", "429", "500"):
                wanted = f"#/components/responses/Problem{status}"
                assert one["responses"][status] == {"$ref": wanted}, (path, method)
            named = {part["name"] for part in one.get("parameters", [])}
            free = path.endswith(("tax/", "what-if/"))
            assert ("Idempotency-Key" in named) == (method == "post" and not free), path


def test_the_page_names_every_address_and_needs_no_script(shared_book: Book):
    client = shared_book.signed_in("advisor")
    text = client.get("/api/v1/docs/").content.decode()
    found = client.get("/api/v1/openapi.json").json()
    assert [path for path in found["paths"] if path not in text] == []
    assert "https://" not in text
    anchors = set(re.findall(r'href="#([^"]+)"', text))
    assert anchors
    assert [one for one in anchors if f'id="{one}"' not in text and "shape-" in one] == []


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.usefixtures("kept_connection")
def test_whatever_a_program_sends_the_server_stands(shared_book: Book, role: str):
    program = program_of(shared_book.people[role])
    headers = {"Authorization": f"Bearer {program.token}"}
    schema = schemathesis.openapi.from_wsgi(
        "/api/v1/openapi.json", get_wsgi_application(), headers=headers
    )
    tried = set()
    for found in schema.get_all_operations():
        operation = found.ok()

        @settings(
            max_examples=EXAMPLES,
            deadline=None,
            database=None,
            derandomize=True,
            suppress_health_check=list(HealthCheck),
        )
        @given(case=operation.as_strategy())
        def run(case: Any) -> None:
            if "ref" in case.path_parameters and case.method != "PUT":
                case.path_parameters["ref"] = sample.REF
            response = case.call(headers=headers)
            case.validate_response(
                response, checks=[not_a_server_error, response_schema_conformance]
            )
            tried.add(response.status_code)

        run()
    assert tried >= {200, 404}
    assert 401 not in tried


def test_a_token_is_made_shown_once_and_revoked(shared_book: Book):
    client = shared_book.signed_in("advisor")
    client.get("/me/tokens/")
    form = {"name": "Month end", "scope": ["read:finding"], "days": "30"}
    made = client.post("/me/tokens/", form).content.decode()
    [secret] = re.findall(r'value="(tow_[0-9a-f]{64})"', made)
    program = Program(secret, client)
    assert program.get("me/").json()["scopes"] == ["read:finding"]
    listed = client.get("/me/tokens/").content.decode()
    assert secret not in listed
    assert "Month end" in listed
    for bad in ({"name": ""}, {"scope": []}, {"scope": ["read:all"]}, {"days": "366"}):
        assert client.post("/me/tokens/", form | bad).status_code == 422
    with shared_book.access().opened():
        row = ApiToken.objects.get(name="Month end")
    stranger = shared_book.signed_in("stranger")
    assert stranger.post(f"/me/tokens/{row.pk}/revoke/").status_code == 404
    assert program.get("me/").status_code == 200
    assert client.post(f"/me/tokens/{row.pk}/revoke/").status_code == 302
    assert program.get("me/").status_code == 401


def test_a_token_is_made_only_after_the_password_again(shared_book: Book):
    client = shared_book.signed_in("advisor")
    client.get("/me/tokens/")
    session = client.session
    session[SIGNED_IN_AT] = int(time.time()) - 3600
    session.save()
    answer = client.post("/me/tokens/", {"name": "x", "scope": "read:plan", "days": "1"})
    assert answer.status_code == 302
    assert answer["Location"].startswith("/me/confirm/")
