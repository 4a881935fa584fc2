"""The whole desk under a real browser: live server, PostgreSQL, the application's role."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from reports.packets.period import read_quarter
from reports.services.packets import QuarterlyRequest, draw_packet, issue_quarterly
from tests.reports import sample
from tests.reports.conftest import ADVISOR, make_book

CHROMIUM = Path("/usr/bin/chromium")
PASSWORD = "correct horse battery"


@pytest.fixture(scope="module")
def desk(django_db_setup: None, django_db_blocker: Any) -> Iterator[str]:
    """The address of a desk whose book is committed and closed, one for a whole module.

    The browser's library keeps an event loop in this thread, so the framework's
    guard against queries beside one is off meanwhile; nothing here is asynchronous.
    """
    from pytest_django.live_server_helper import LiveServer

    before = os.environ.get("DJANGO_ALLOW_ASYNC_UNSAFE")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with django_db_blocker.unblock():
        book = make_book()
        with book.access().opened():
            request = QuarterlyRequest(ref=sample.REF, quarter=read_quarter("2026-Q3"))
            packet = issue_quarterly(access=book.access(), request=request)
            draw_packet(access=book.access(), packet_id=packet.pk)
        server = LiveServer("localhost:0")
        server._live_server_modified_settings.enable()
        try:
            yield str(server.url)
        finally:
            server.stop()
            server._live_server_modified_settings.disable()
            call_command("flush", database="owner", interactive=False, verbosity=0)
            os.environ.pop("DJANGO_ALLOW_ASYNC_UNSAFE")
            if before is not None:
                os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = before


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Debian's browser, without a window; tests are skipped where it is not installed."""
    if not CHROMIUM.exists():
        pytest.skip(f"needs a browser at {CHROMIUM}: install Debian's chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        found = play.chromium.launch(
            executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-gpu"]
        )
        yield found
        found.close()


@pytest.fixture
def page(desk: str, browser: Any) -> Iterator[Any]:
    """A page of somebody signed in as the advisor; no script may fail and no page may break."""
    context = browser.new_context(base_url=desk, locale="en-CA", accept_downloads=True)
    context.set_default_timeout(15_000)
    found = context.new_page()
    broken: list[str] = []
    found.on("pageerror", lambda error: broken.append(str(error)))
    found.on("response", lambda one: broken.append(one.url) if one.status >= 500 else None)
    sign_in(found)
    yield found
    context.close()
    assert broken == []


def sign_in(page: Any, email: str = ADVISOR) -> None:
    """Through the form, as a person does."""
    page.goto("/")
    page.locator("[name=login]").fill(email)
    page.locator("[name=password]").fill(PASSWORD)
    page.locator("main button[type=submit]").first.click()
    page.wait_for_url("**/")
