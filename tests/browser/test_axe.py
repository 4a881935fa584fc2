"""No page breaks an accessibility rule that a program can see: both themes, both languages."""

from __future__ import annotations

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.conftest import sign_in
from tests.reports.sample import REF

pytestmark = pytest.mark.browser

HOME = f"/households/{REF}"
PAGES = (
    "/",
    f"{HOME}/",
    f"{HOME}/months/2026-09/",
    f"{HOME}/draws/",
    f"{HOME}/draws/line-2026-08-1/",
    f"{HOME}/plan/",
    f"{HOME}/plan/offers/?compare=1&name1=Maple&rate1=4.39",
    f"{HOME}/trace/2026/",
    f"{HOME}/restatements/",
    "/findings/",
    "/runs/",
    "/firm/",
    "/messages/",
    "/me/notices/",
    "/households/new/",
    "/import/statements/",
    "/import/book/",
)
STEPS = ("household", "facility", "mortgages", "line", "investments", "plan", "review")


def violations(page: Any, path: str) -> list[str]:
    """What axe finds on one page, with the places."""
    answer = page.goto(path)
    assert answer.status == 200, path
    found = Axe().run(page).response["violations"]
    return [f"{path}: {one['id']}: {one['nodes'][0]['html'][:160]}" for one in found]


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("language", ["en", "fr"])
def test_every_page(desk, browser, theme, language):
    context = browser.new_context(
        base_url=desk, color_scheme=theme, locale=f"{language}-CA", reduced_motion="reduce"
    )
    page = context.new_page()
    sign_in(page, "principal@fernhollow.example")
    if page.locator("html").get_attribute("lang") != f"{language}-CA":
        page.locator(f"button[lang={language}]").click()
        page.locator(f"html[lang={language}-CA]").wait_for()
    page.goto("/households/new/")
    page.locator("main form button").first.click()
    page.wait_for_url("**/household/")
    base = page.url.removesuffix("household/")
    found = [one for path in PAGES for one in violations(page, path)]
    found += [one for step in STEPS for one in violations(page, f"{base}{step}/?check=1")]
    context.close()
    assert found == []
