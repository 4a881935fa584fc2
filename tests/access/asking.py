"""Asking every route as everybody, and what is noted of each answer."""

from __future__ import annotations

import io
import logging
import re
import sys
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import lru_cache
from http.cookies import SimpleCookie
from io import StringIO
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs

from django.conf import settings
from django.core import mail
from django.core.cache import cache
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from pypdf import PdfReader

from config import logs
from config.middleware import SEEN_AT, SIGNED_IN_AT
from planning.access import Access
from planning.sign_in import HAS_SECOND_FACTOR
from tests.access.scene import FIRM_WORDS, WORDS, Scene, canaries_of
from tests.access.table import COSTLY, METHODS, Table

ROOT = Path(__file__).resolve().parents[2]
ACCESS = str(ROOT / "planning" / "access.py")
HEADERS = {
    "Content-Security-Policy": re.compile(r"default-src 'none'"),
    "X-Content-Type-Options": re.compile(r"nosniff"),
    "X-Frame-Options": re.compile(r"DENY"),
    "Referrer-Policy": re.compile(r"same-origin|no-referrer"),
    "Cross-Origin-Opener-Policy": re.compile(r"same-origin"),
    "Cross-Origin-Resource-Policy": re.compile(r"same-origin"),
    "Permissions-Policy": re.compile(r"camera=\(\)"),
    "Cache-Control": re.compile(r"no-store"),
    "X-Request-ID": re.compile(r"[0-9a-f]{32}"),
}
FORM_TOKEN = re.compile(r'value="[0-9a-z]{64}"')
Site = tuple[str, str, str]  # file, function, method of Access


@dataclass(frozen=True)
class Cell:
    """One question: who asks for which object of which route, and how."""

    route: str
    method: str
    who: str
    target: str


@dataclass
class Answer:
    """What came of it."""

    status: int
    kind: str
    foreign: set[str] = field(default_factory=set)
    own: set[str] = field(default_factory=set)
    missing: list[str] = field(default_factory=list)
    body: str = ""
    sites: frozenset[Site] = frozenset()
    actions: frozenset[str] = frozenset()


def routes() -> dict[str, frozenset[str]]:
    """Every named route of the server with the parts of its address."""
    found: dict[str, frozenset[str]] = {}

    def walk(patterns: Iterable[Any], parts: frozenset[str]) -> None:
        for one in patterns:
            held = parts | set(one.pattern.regex.groupindex)
            if isinstance(one, URLResolver):
                walk(one.url_patterns, held)
            elif isinstance(one, URLPattern):
                found[one.name or str(one.pattern)] = held

    walk(get_resolver().url_patterns, frozenset())
    return found


def text_of(response: Any) -> str:
    """Headers and body, what is inside archives and PDFs too, small and with plain spaces."""
    body = response.getvalue() if response.streaming else response.content
    kind = response.get("Content-Type", "")
    parts = [f"{name}: {value}" for name, value in response.items()]
    parts += [one.OutputString() for one in response.cookies.values()]
    if not body:
        pass  # HEAD
    elif kind.startswith("application/pdf"):
        parts.append(pdf_text(body))
    elif kind == "application/zip":
        with zipfile.ZipFile(io.BytesIO(body)) as archive:
            parts += [archive.read(name).decode() for name in archive.namelist()]
        parts += archive.namelist()
    else:
        parts.append(body.decode("utf-8", "replace").replace("\r\n ", ""))
    return plain("\n".join(parts))


@lru_cache
def pdf_text(body: bytes) -> str:
    """The words of a PDF."""
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(body)).pages)


def plain(text: str) -> str:
    """A text as canaries are searched in."""
    return text.replace("\u00a0", " ").replace("\u202f", " ").replace("&nbsp;", " ").lower()


class Crowd:
    """Everybody with a session, and the asking."""

    def __init__(self, scene: Scene, table: Table) -> None:
        self.scene, self.table, self.parts = scene, table, routes()
        self.cookies = {who: self._session(who) for who in table.principals}
        self.client = Client(raise_request_exception=False)
        self.log = StringIO()
        self.handler = logging.StreamHandler(self.log)
        self.handler.setFormatter(line_formatter())
        self.words = {word for key in WORDS for word in canaries_of(key)}
        self.words |= set(FIRM_WORDS.values())

    def _session(self, who: str) -> str:
        if who == "anonymous":
            return ""
        client = Client()
        client.force_login(self.scene.users[who])
        session = client.session
        if who != "unfactored":
            session[HAS_SECOND_FACTOR] = True
        if who == "expired":
            session[SIGNED_IN_AT] = session[SEEN_AT] = 1
        session.save()
        return str(session.session_key)

    @contextmanager
    def _quietly(self) -> Iterator[None]:
        """Log as production does, to `log` alone."""
        root = logging.getLogger()
        before, root.handlers = root.handlers, [self.handler]
        level, root.level = root.level, logging.INFO
        try:
            yield
        finally:
            root.handlers, root.level = before, level

    def cells(self, names: Iterable[str] | None = None) -> Iterator[Cell]:
        """Every possible cell of the routes."""
        for name in names or sorted(set(self.table.routes) & set(self.parts)):
            for method in METHODS:
                route = self.table.routes[name]
                for target in route.objects(method, self.parts[name]):
                    for who in self.table.askers(route, method, target):
                        wanted = self.table.expected(route, method, who, target)
                        if wanted != "ok" or COSTLY.get(name, (who, target)) == (who, target):
                            yield Cell(name, method, who, target)

    def forbidden(self, cell: Cell) -> set[str]:
        """The canaries that must not be in the answer to a cell."""
        sees = self.table.sees.get(cell.who, frozenset())
        found = {word for key in WORDS if key not in sees for word in canaries_of(key)}
        firm = "own" if cell.who == "stranger" else "other"
        found.add(FIRM_WORDS[firm])
        if cell.route == "calendar_feed":
            # Whoever holds a calendar's token is answered: the token is the key.
            firm_sees = self.table.sees["stranger" if cell.target == "other" else "principal"]
            found = {word for key in WORDS if key not in firm_sees for word in canaries_of(key)}
        return found

    def of_the_other_firm(self, cell: Cell) -> set[str]:
        """The canaries of the firm that is not the asker's."""
        theirs = [key for key in WORDS if (key == "other") != (cell.who == "stranger")]
        found = {word for key in theirs for word in canaries_of(key)}
        return found | {FIRM_WORDS["own" if cell.who == "stranger" else "other"]}

    def ask(self, cell: Cell, *, note: bool = True) -> Answer:
        """Ask, look at the answer, and undo whatever it did."""
        place = self.scene.places[cell.target]
        parts = self.parts[cell.route]
        address = reverse(cell.route, kwargs={name: place[name] for name in parts})
        clause = self.table.routes[cell.route].methods.get(cell.method)
        form = parse_qs(clause.form.format(**place)) if clause else {}
        self.client.cookies = SimpleCookie({settings.SESSION_COOKIE_NAME: self.cookies[cell.who]})
        kwargs: dict[str, Any] = {"data": form} if cell.method == "POST" else {}
        with self._quietly(), noting(wanted=note) as (sites, actions), transaction.atomic():
            response = getattr(self.client, cell.method.lower())(address, **kwargs)
            transaction.set_rollback(True)
        text = text_of(response)
        # What the asker wrote into the address may be said back, as where to go on to.
        text = text.replace(plain(address), "")
        missing = [
            name for name, wanted in HEADERS.items() if not wanted.search(response.get(name, ""))
        ]
        words = {word for word in self.words if word in text}
        foreign = words & self.forbidden(cell)
        kind = kind_of(response)
        body = ""
        if kind == "absent":
            # The form's token is drawn anew for each answer.
            body = FORM_TOKEN.sub("", plain(response.content.decode()).replace(plain(address), ""))
        told = frozenset(sites), frozenset(actions)
        return Answer(response.status_code, kind, foreign, words - foreign, missing, body, *told)


def line_formatter() -> logging.Formatter:
    """The formatter of production's log lines."""
    wanted = logs.configuration(level="WARNING", as_json=True)["formatters"]["line"]
    made = {name: value for name, value in wanted.items() if name != "()"}
    formatter: logging.Formatter = wanted["()"](**made)
    return formatter


def kind_of(response: Any) -> str:
    """The class of an answer, as the table names it."""
    status, place = response.status_code, response.get("Location", "")
    if status == 302 and place.startswith("/login/") and "next=" in place:
        return "login"
    if status == 302 and place == reverse("mfa_index"):
        return "factor"
    named = {403: "refused", 404: "absent", 405: "method"}
    if status in named:
        return named[status]
    return "ok" if status < 400 or status in (400, 409, 422, 429) else str(status)


# -- where the product asks who may see what ----------------------------------------

SCOPES = ("households", "scope", "household")
REAL: dict[str, Callable[..., Any]] = {name: getattr(Access, name) for name in SCOPES}


def caller() -> tuple[str, str]:
    """The file and function that asked."""
    frame = sys._getframe(2)
    path = frame.f_code.co_filename
    shown = path[len(str(ROOT)) + 1 :] if path.startswith(str(ROOT)) else path
    return shown, frame.f_code.co_name


@contextmanager
def noting(*, wanted: bool = True) -> Iterator[tuple[set[Site], set[str]]]:
    """Note every scope that is asked for from outside the judge itself, and every guard."""
    sites: set[Site] = set()
    actions: set[str] = set()
    if not wanted:
        yield sites, actions
        return

    def scoped(name: str, inner: Callable[..., Any]) -> Callable[..., Any]:
        def call(self: Access, *args: Any, **kwargs: Any) -> Any:
            path, function = caller()
            if path != "planning/access.py":
                sites.add((path, function, name))
            return inner(self, *args, **kwargs)

        return call

    def require(self: Access, action: str) -> None:
        actions.add(action)
        real(self, action)

    real = Access.require
    before = {name: getattr(Access, name) for name in SCOPES} | {"require": real}
    for name in SCOPES:
        setattr(Access, name, scoped(name, before[name]))
    Access.require = require  # type: ignore[method-assign]
    try:
        yield sites, actions
    finally:
        for name, method in before.items():
            setattr(Access, name, method)


def leftovers() -> str:
    """Mails and cached values of this process, as canaries are searched in."""
    letters = [f"{one.subject} {one.body} {one.to}" for one in mail.outbox]
    kept = [repr(value) for value in getattr(cache, "_cache", {}).values()]
    return plain(" ".join(letters + kept))
