"""A closed book in two firms, and programs with tokens that ask about it."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.db import transaction
from django.test import Client

from planning.access import Access
from planning.api.scopes import scopes_of_role
from planning.services.tokens import make_token
from tests.reports.conftest import Book, make_book

REF = "HH-0101"


@dataclass
class Program:
    """A program with a token."""

    token: str
    client: Client

    def get(self, path: str, **headers: str) -> Any:
        """GET under /api/v1/."""
        return self.client.get(f"/api/v1/{path}", headers=self._headers(headers))

    def send(self, method: str, path: str, body: Any = None, key: str = "", **headers: str) -> Any:
        """POST or PUT with a fresh key, or the one given."""
        given = {"Idempotency-Key": key or uuid.uuid4().hex} | headers
        content = body if isinstance(body, str) else json.dumps(body if body is not None else {})
        return self.client.generic(
            method,
            f"/api/v1/{path}",
            content,
            content_type="application/json",
            headers=self._headers(given),
        )

    def post(self, path: str, body: Any = None, key: str = "", **headers: str) -> Any:
        """POST."""
        return self.send("POST", path, body, key, **headers)

    def _headers(self, more: dict[str, str]) -> dict[str, str]:
        named = {name.replace("_", "-"): value for name, value in more.items()}
        return {"Authorization": f"Bearer {self.token}"} | named


def program_of(user: Any, scopes: tuple[str, ...] | None = None) -> Program:
    """A program that acts for a user, with every scope the role has or those given."""
    access = Access.for_user(user)
    assert access is not None
    wanted = scopes_of_role(access.role) if scopes is None else scopes
    _, secret = make_token(access=access, name="test", scopes=wanted, days=30)
    return Program(secret, Client(raise_request_exception=True))


@pytest.fixture
def book(db: None) -> Book:
    """The closed book."""
    return make_book()


@pytest.fixture(scope="module")
def shared_book(django_db_setup: None, django_db_blocker: Any) -> Iterator[Book]:
    """One closed book for tests of a module that only read; taken back at the module's end."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield make_book()
        transaction.set_rollback(True)


@pytest.fixture
def advisor(book: Book) -> Program:
    """The advisor's program with every scope."""
    return program_of(book.people["advisor"])
