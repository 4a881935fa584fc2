"""What an advisor does in a day, in a real browser against the whole desk."""

from __future__ import annotations

from typing import Any

import pytest

from tests.reports.sample import REF
from tests.reports.setup_answers import ANSWERS
from tests.statements import october

pytestmark = pytest.mark.browser


def press(page: Any, name: str) -> None:
    """Press the first button of that name in the page's content."""
    page.locator("main").get_by_role("button", name=name, exact=True).first.click()


def see(page: Any, text: str) -> None:
    """Wait until a text shows."""
    page.get_by_text(text).first.wait_for()


def test_a_dollar_is_followed_and_the_language_switched(page):
    page.goto(f"/households/{REF}/trace/2026/")
    page.locator("main h1").wait_for()
    page.goto(f"/households/{REF}/lines/line-2026-07-1/")
    page.locator(f"main a[href^='/households/{REF}/trace/2026/']").first.click()
    page.wait_for_url("**/trace/2026/**")
    page.get_by_role("button", name="Français").click()
    page.locator("html[lang=fr-CA]").wait_for()
    page.get_by_role("button", name="English").click()
    page.locator("html[lang=en-CA]").wait_for()


def test_from_the_book_to_an_accepted_finding(page):
    page.get_by_role("link", name="Heron Quay").first.click()
    page.wait_for_url(f"**/households/{REF}/")
    page.locator("nav").get_by_role("link", name="Findings").click()
    page.locator("main a[href^='/findings/']").first.click()
    page.locator("#reason").fill("Talked through with the household")
    page.locator("#until").fill("2027-06-30")
    press(page, "Accept")
    press(page, "Put back on the list")


def test_a_use_is_recorded_with_its_paper(page):
    page.goto(f"/households/{REF}/draws/line-2026-08-1/")
    page.locator("#files").set_input_files(
        {"name": "confirmation.txt", "mimeType": "text/plain", "buffer": b"Bought on the 16th\n"}
    )
    press(page, "Hand in")
    page.locator("#amount-0").fill("2000.00")
    page.locator("#use-0").select_option("income-investment")
    page.locator("#to-0").select_option("inv")
    page.locator("[name='paper-0']").first.check()
    page.locator("form[action$='#preview'] #reason").fill("The confirmation shows it")
    press(page, "Preview what it changes")
    press(page, "Record this decision")
    see(page, "The decision is recorded")


def test_a_change_is_tried_and_kept(page):
    page.goto(f"/households/{REF}/plan/")
    page.locator("#growth").fill("1.5")
    page.locator("#keep").wait_for()
    page.locator("#reason").fill("lower hopes")
    page.locator("#confirm").check()
    press(page, "Save the new version")
    see(page, "Version 2 of the plan is saved")


def test_offers_side_by_side(page):
    page.goto(f"/households/{REF}/plan/offers/")
    page.locator("[name=name1]").fill("Maple Trust")
    page.locator("[name=rate1]").fill("4.39")
    page.locator("button[name=compare], main form[method=get] button").first.click()
    page.locator(".offer-answer").first.wait_for()
    see(page, "Mortgage gone, all debt on the line")


def type_in(page: Any, typed: dict[str, Any]) -> None:
    """Fill a set-up form's fields by their names."""
    for name, value in typed.items():
        field = page.locator(f'[name="{name}"]')
        if isinstance(value, list):
            for one in value:
                page.locator(f'[name="{name}"][value="{one}"]').check()
        elif field.evaluate("one => one.tagName") == "SELECT":
            field.select_option(value)
        else:
            field.fill(value)


def test_a_household_is_set_up_to_the_end(page):
    page.goto("/households/new/")
    press(page, "Begin, or go on with the new household")
    for step, typed in ANSWERS.items():
        page.wait_for_url(f"**/{step}/")
        later = {name: value for name, value in typed.items() if name.endswith(".to")}
        now = {name: value for name, value in typed.items() if name not in later}
        if step == "line":
            # The account of an opening use comes on a later page; the second row after the first.
            second = {name: value for name, value in now.items() if "opening[1]" in name}
            type_in(page, {name: value for name, value in now.items() if name not in second})
            press(page, "Keep and stay here")
            type_in(page, second)
            press(page, "Keep and stay here")
            page.goto(page.url.replace("/line/", "/investments/"))
            continue
        type_in(page, now)
        press(page, "Keep and go on")
    page.goto(page.url.replace("/review/", "/line/"))
    page.locator('[name="lines[0].@opening[0].to"]').select_option("inv")
    press(page, "Keep and go on")
    page.goto(page.url.replace("/investments/", "/review/"))
    see(page, "Prices fall 30%")
    page.locator("#reason").fill("first meeting")
    press(page, "Put the household on file")
    page.wait_for_url("**/households/HH-500/")
    see(page, "Tern Harbour")


def test_statements_are_looked_at_and_booked(page):
    paper = {"name": "october.csv", "mimeType": "text/csv", "buffer": october()}
    page.goto("/import/statements/")
    page.locator("#household").select_option(REF)
    page.locator("#files").set_input_files(paper)
    press(page, "Look at the files")
    see(page, "nothing is booked yet")
    page.locator("#files").set_input_files(paper)
    press(page, "Book the files")
    see(page, "The statements are booked.")
    page.locator("#result").get_by_role("link", name="Heron Quay").click()
    page.wait_for_url(f"**/households/{REF}/")


def test_the_packet_comes_down_as_issued(page):
    page.goto(f"/households/{REF}/")
    with page.expect_download() as got:
        page.locator("a[href*='/packets/']").first.click()
    assert got.value.path().read_bytes().startswith(b"%PDF-")


def tab_to(page: Any, text: str, most: int = 60) -> None:
    """Press Tab until the focus is on the element of that text."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if text in page.evaluate("document.activeElement.textContent"):
            return
    raise AssertionError(f"the keyboard does not reach {text!r}")


def test_the_book_by_keyboard_alone(page):
    page.goto("/")
    tab_to(page, "Skip to the content", 1)
    page.keyboard.press("Enter")
    tab_to(page, "Heron Quay")
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/households/{REF}/")
    tab_to(page, "Plan and what if")
    page.keyboard.press("Enter")
    page.wait_for_url("**/plan/")
