"""The plan's pages by role: what is tried, what is kept, what stays hidden."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from config.models import AuditEvent
from ledger.models import HouseholdMonth
from planning.mapping import plan_value
from planning.models import Household, PlanVersion
from reports.plan_form import read_change
from tests.reports import sample
from tests.reports.conftest import CANARY, CANARY_REF, load
from tests.reports.sample import REF

PLAN = reverse("plan", args=[REF])
SAVE = reverse("plan_save", args=[REF])
OFFERS = reverse("plan_offers", args=[REF])
KEEP = reverse("plan_offers_save", args=[REF])
VERSION = reverse("plan_version", args=[REF, 1])
PAGES = {"plan": PLAN, "offers": OFFERS, "version": VERSION}
CHANGE = {"growth": "1.5", "reason": "lower hopes", "confirm": "yes", "based_on": "1"}
TWO_OFFERS = {
    "name1": "Maple Trust",
    "rate1": "4.39",
    "years1": "1",
    "kind1": "fixed",
    "name2": "Harbour",
    "rate2": "-0.60",
    "years2": "5",
    "kind2": "adjustable",
    "compare": "1",
}


def versions(book) -> int:
    with book.access().opened():
        return PlanVersion.objects.count()


def text_of(answer) -> str:
    return answer.content.decode().replace("\u00a0", " ")


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("role", ["principal", "advisor", "assistant"])
def test_staff_reads_them(book, role, page):
    answer = book.signed_in(role).get(PAGES[page])
    text = text_of(answer)
    assert answer.status_code == 200
    assert "Heron Quay" in text
    assert CANARY not in text
    assert CANARY_REF not in text
    assert "Not tax, legal or investment advice" in text


@pytest.mark.parametrize(("role", "status"), [("client", 403), ("nobody", 403), ("stranger", 404)])
def test_others_do_not(book, role, status):
    client = book.signed_in(role)
    for path in PAGES.values():
        answer = client.get(path)
        assert answer.status_code == status
        assert "Heron Quay" not in answer.content.decode()
    for path in (SAVE, KEEP):
        assert client.post(path, CHANGE | TWO_OFFERS).status_code == status
    assert Client().get(PLAN).status_code == 302
    assert Client().post(SAVE, CHANGE).status_code == 302
    assert versions(book) == 1


def test_an_assistant_tries_and_does_not_save(book):
    client = book.signed_in("assistant")
    text = text_of(client.get(PLAN, {"growth": "1.5"}))
    assert "Difference" in text
    assert "Save the new version" not in text
    assert client.post(SAVE, CHANGE).status_code == 403
    assert client.post(KEEP, TWO_OFFERS | CHANGE | {"choice": "1"}).status_code == 403
    assert versions(book) == 1


def test_the_household_page_leads_to_it_for_staff_alone(book):
    home = reverse("household", args=[REF])
    assert f'href="{PLAN}"' in text_of(book.signed_in("assistant").get(home))
    assert f'href="{PLAN}"' not in text_of(book.signed_in("client").get(home))


def test_the_plan_in_force_shows_its_loss_cases_and_versions(book):
    text = text_of(book.signed_in("advisor").get(PLAN))
    for part in (
        "Prices fall 30% on the last day",
        "Rates 3 points higher from the start",
        "Projections, not promises",
        "Version 1",
        "in force",
        f'href="{VERSION}"',
    ):
        assert part in text, part
    assert text.count("<svg role") == 3
    assert text.count("<figure>") == 3
    assert text.count("The figures as a table") == 3
    assert "Save the new version" not in text


def test_a_change_answers_with_pictures_table_and_difference(book):
    text = text_of(book.signed_in("advisor").get(PLAN, {"growth": "1.5"}))
    assert "Difference" in text
    assert "stroke-dasharray" in text
    assert text.count("<svg role") == 3
    assert '<input type="hidden" name="growth" value="1.5">' in text
    assert "Save the new version" in text
    assert "Prices fall 30% on the last day" in text


def test_htmx_gets_the_answer_alone_and_the_same(book):
    client = book.signed_in("advisor")
    part = text_of(client.get(PLAN, {"growth": "1.5"}, headers={"HX-Request": "true"}))
    whole = text_of(client.get(PLAN, {"growth": "1.5"}))
    assert part.lstrip().startswith('<div id="answer"')
    assert "<html" not in part
    figures = re.findall(r"<td[^>]*>([^<]*)</td>", part)
    assert len(figures) > 30
    assert [one for one in re.findall(r"<td[^>]*>([^<]*)</td>", whole) if one in figures][
        : len(figures)
    ] == figures


NO_SENSE = [
    ({"growth": "abc"}, "abc is not a number"),
    ({"growth": "-100"}, "-100.00% is out of range"),
    ({"rate_now": "101"}, "101.00% is out of range. Give 0.00% to 100.00%."),
    ({"share": "1e5"}, "1e5 is not a number"),
    ({"once": "12.345"}, "12.345 is not an amount"),
    ({"once": "-5"}, "Give an amount above zero"),
    ({"since": "2026-13-01", "growth": "1"}, "2026-13-01 is not a date"),
    ({"since": "1999-01-01", "rate_now": "4"}, "Jan 1, 1999 lies outside the plan"),
    ({"refund": "burn"}, "burn is not in the list"),
    ({"mortgage": "<b>", "rate_now": "4"}, "There is no mortgage &lt;b&gt;"),
    ({"yearly": "9" * 30}, "is not an amount"),
]


def test_values_that_make_no_sense_are_said(book):
    client = book.signed_in("advisor")
    for query, words in NO_SENSE:
        answer = client.get(PLAN, query)
        text = text_of(answer).replace("\u2212", "-")
        assert answer.status_code == 200
        assert words in text
        assert "Save the new version" not in text


@pytest.mark.parametrize("typed", ["1,5", " 1.50 % ", "1.5%", "+1.5", "01.5", "1,5\u00a0%"])
def test_figures_are_read_in_both_languages(typed):
    form = read_change({"growth": typed}, date(2026, 7, 1))
    assert (form.change.growth, form.refused) == (Decimal("0.015"), ())


@pytest.mark.parametrize(
    "typed", ["5 000,00", "5,000.00", "$5,000", "5000", "5000,00", "5\u202f000\u00a0$"]
)
def test_amounts_are_read_in_both_languages(typed):
    form = read_change({"once": typed}, date(2026, 7, 1))
    assert (form.change.once_cents, form.refused) == (500_000, ())


def test_a_change_is_kept_once(book):
    client = book.signed_in("advisor")
    for _ in range(2):
        answer = client.post(SAVE, CHANGE)
        assert (answer.status_code, answer.headers["Location"]) == (302, PLAN)
    text = text_of(client.get(PLAN))
    assert "Version 2 of the plan is saved and in force" in text
    assert "lower hopes" in text
    with book.access().opened():
        household = Household.objects.get(ref=REF)
        plan = plan_value(household)
        assert plan.investment.growth_annual == Decimal("0.015")
        assert PlanVersion.objects.filter(household=household).count() == 2
        assert AuditEvent.objects.filter(action="plan.save").count() == 1
        stale = HouseholdMonth.objects.filter(household=household).values_list(
            "stale_reason", flat=True
        )
        assert set(stale) == {"plan version 2: lower hopes"}


def test_the_old_version_stays_readable(book):
    client = book.signed_in("advisor")
    client.post(SAVE, CHANGE)
    text = text_of(client.get(VERSION))
    assert "Version 1 of the plan" in text
    assert "This version" in text
    assert "Difference" in text
    assert text.count("<svg role") == 3
    assert "This version is in force" in text_of(client.get(reverse("plan_version", args=[REF, 2])))
    assert client.get(reverse("plan_version", args=[REF, 3])).status_code == 404


@pytest.mark.parametrize(
    ("moved", "words"),
    [
        ({"reason": "  "}, "Say why the plan changes"),
        ({"reason": "x" * 501}, "Shorten the reason"),
        ({"confirm": ""}, "Confirm that the loss cases"),
        ({"growth": "-100"}, "is out of range"),
    ],
)
def test_what_is_refused_writes_nothing(book, moved, words):
    answer = book.signed_in("advisor").post(SAVE, CHANGE | moved)
    assert answer.status_code == 422
    assert words in text_of(answer)
    assert versions(book) == 1


def test_nothing_changed_is_nothing_saved(book):
    answer = book.signed_in("advisor").post(SAVE, CHANGE | {"growth": ""})
    assert answer.status_code == 422
    assert "Nothing is changed yet" in text_of(answer)
    assert versions(book) == 1


def test_somebody_else_saved_first(book):
    book.signed_in("principal").post(SAVE, CHANGE | {"growth": "2"})
    before = versions(book)
    answer = book.signed_in("advisor").post(SAVE, CHANGE)
    text = text_of(answer)
    assert answer.status_code == 409
    assert "Somebody saved version 2" in text
    assert '<input type="hidden" name="based_on" value="2">' in text
    assert versions(book) == before


@pytest.mark.parametrize("base", ["", "x", "-1", "9" * 50])
def test_a_base_that_is_none_saves_nothing(book, base):
    answer = book.signed_in("advisor").post(SAVE, CHANGE | {"based_on": base})
    assert answer.status_code == 409
    assert versions(book) == 1


def test_a_post_without_its_token_is_refused(book):
    client = Client(enforce_csrf_checks=True)
    client.force_login(book.people["advisor"])
    assert client.post(SAVE, CHANGE).status_code == 403
    assert versions(book) == 1


def test_offers_side_by_side(book):
    text = text_of(book.signed_in("advisor").get(OFFERS, TWO_OFFERS))
    for part in (
        "Maple Trust",
        "Harbour",
        "Plan in force",
        "Over 1 year, the shortest term",
        "Over its own term",
        "Prices fall 30% on the last day",
        "4.39%",
        "a plan keeps only a fixed rate",
    ):
        assert part in text, part
    assert text.count("<svg role") == 1


OFFERS_NO_SENSE = [
    ({"rate1": ""}, "1. Rate, or spread to prime, %"),
    ({"rate1": "400"}, "400.00% is out of range"),
    ({"years2": "40"}, "A term of 40 years is out of range"),
    ({"years2": "soon"}, "soon is not a number of years"),
    ({"payment1": "100"}, "does not cover the first interest"),
    ({"on": "1999-01-01"}, "lies outside the plan"),
    ({"kind1": "gold"}, "gold is not in the list"),
    ({"mortgage": "none"}, "There is no mortgage none"),
]


def test_offers_that_make_no_sense_are_said(book):
    client = book.signed_in("advisor")
    for moved, words in OFFERS_NO_SENSE:
        answer = client.get(OFFERS, TWO_OFFERS | moved)
        assert answer.status_code == 200
        assert words in text_of(answer)
        assert "Side by side" not in text_of(answer)


def test_an_offer_is_kept_as_the_renewal(book):
    client = book.signed_in("advisor")
    answer = client.post(KEEP, TWO_OFFERS | CHANGE | {"choice": "1"})
    assert (answer.status_code, answer.headers["Location"]) == (302, PLAN)
    with book.access().opened():
        plan = plan_value(Household.objects.get(ref=REF))
        assert [str(one.rate_annual) for one in plan.renewals][-1] == "0.0439"


@pytest.mark.parametrize(
    ("moved", "words"),
    [
        ({"choice": "2"}, "Only a fixed rate without a stated payment"),
        ({"choice": "3"}, "Choose the offer to keep"),
        ({"choice": ""}, "Choose the offer to keep"),
        ({"reason": ""}, "Say why the plan changes"),
    ],
)
def test_an_offer_that_cannot_be_kept_writes_nothing(book, moved, words):
    asked = TWO_OFFERS | CHANGE | {"choice": "1"} | moved
    answer = book.signed_in("advisor").post(KEEP, asked)
    assert answer.status_code == 422
    assert words in text_of(answer)
    assert versions(book) == 1


def test_an_offer_on_an_older_version_is_told(book):
    book.signed_in("principal").post(SAVE, CHANGE)
    answer = book.signed_in("advisor").post(KEEP, TWO_OFFERS | CHANGE | {"choice": "1"})
    assert answer.status_code == 409
    assert "Somebody saved version 2" in text_of(answer)


def test_a_household_without_a_plan_has_no_plan_page(book):
    bare = sample.file()
    bare["household"] |= {"ref": "HH-0802", "name": "Plover Sand"}
    bare["plan"] = None
    load(book.firm_id, bare)
    client = book.signed_in("advisor")
    assert client.get(reverse("plan", args=["HH-0802"])).status_code == 404
    home = text_of(client.get(reverse("household", args=["HH-0802"])))
    assert "Plan and what if" not in home


@pytest.mark.parametrize(
    ("path", "query"),
    [(PLAN, {"growth": "1.5"}), (OFFERS, TWO_OFFERS), (VERSION, {}), (PLAN, {"growth": "x"})],
)
def test_pages_obey_the_strict_policy_and_speak_french(book, path, query):
    client = book.signed_in("advisor")
    answer = client.get(path, query)
    text = answer.content.decode().replace("http://www.w3.org/", "")
    for forbidden in (
        " style=",
        "<style",
        "onclick",
        "javascript:",
        "http://",
        "https://",
        "hx-on",
    ):
        assert forbidden not in text, forbidden
    assert "unsafe" not in answer.headers["Content-Security-Policy"]
    assert "no-store" in answer.headers["Cache-Control"]
    client.post("/language/", {"language": "fr", "next": "/"})
    french = text_of(client.get(path, query))
    assert '<html lang="fr-CA">' in french
    for english in ("Key figures", "in force", "Offer ", "whole plan", "Prices fall", "Save the"):
        assert english not in french, english


def test_htmx_is_told_to_add_nothing_of_its_own(book):
    text = book.signed_in("advisor").get(PLAN).content.decode()
    assert '"includeIndicatorStyles":false' in text
    assert '"allowEval":false' in text
    assert "htmx-2.min.js" in text


@pytest.mark.parametrize("path", [PLAN, OFFERS, VERSION])
def test_reading_pages_take_no_writing(book, path):
    assert book.signed_in("advisor").post(path).status_code == 405


@pytest.mark.parametrize("path", [SAVE, KEEP])
def test_saving_takes_no_reading(book, path):
    assert book.signed_in("advisor").get(path).status_code == 405
