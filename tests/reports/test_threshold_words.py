"""What a finding says of a limit is the firm's own threshold, in both languages."""

from __future__ import annotations

from typing import Any

import pytest
from django.template import engines
from django.utils.translation import override

from config.database import firm_scope
from ledger.models import Finding
from reports.packets.finding_words import FINDING_WORDS, LIMITS
from tests.ledger.services.closing.book import put_thresholds


def said(code: str, thresholds: dict[str, Any], language: str = "en", place: str = "page") -> str:
    """The sentence as a page or a packet of the firm shows it."""
    template = engines["django"].from_string("{% load figures %}{% finding_why code %}")
    with override(language):
        return template.render({"code": code, place: {"thresholds": thresholds}})


def test_every_sentence_with_a_limit_knows_its_threshold():
    assert {code for code, one in FINDING_WORDS.items() if "{" in one.why} == set(LIMITS)


@pytest.mark.parametrize(
    ("code", "usual", "name", "value", "changed"),
    [
        ("late-reborrow", "days allowed: 10.", "late_reborrow_days", 21, "days allowed: 21."),
        ("idle-draw", "days allowed: 5.", "idle_days", 9, "days allowed: 9."),
        ("rate-off-plan", "0.25 percentage points", "rate_off_plan", "0.0050", "0.50 percentage"),
        ("deduction-off-plan", "more than 10.00%", "deduction_share", "0.2", "more than 20.00%"),
        ("disclosure-stale", "months allowed: 6.", "disclosure_months", 12, "months allowed: 12."),
    ],
)
@pytest.mark.parametrize("place", ["page", "data"])
def test_the_words_take_the_threshold_in_force(
    place: str, code: str, usual: str, name: str, value: object, changed: str
):
    assert usual in said(code, {}, place=place)
    assert changed in said(code, {name: value}, place=place)


def test_french_says_it_too():
    assert "de 0,50 point" in said("rate-off-plan", {"rate_off_plan": "0.0050"}, "fr")
    assert "jours permis : 21." in said("late-reborrow", {"late_reborrow_days": 21}, "fr")
    assert "{" not in "".join(said(code, {}, "fr") for code in LIMITS)


@pytest.mark.django_db
def test_the_pages_are_given_what_the_firm_set(book):
    put_thresholds(book.firm_id, {"late_reborrow_days": 21})
    client = book.signed_in("principal")
    with firm_scope(book.firm_id):
        found = Finding.objects.select_related("household").filter(open=True).first()
    for address in (f"/findings/{found.pk}/", f"/households/{found.household.ref}/"):
        page = client.get(address).context["page"]
        assert page["thresholds"] == {"late_reborrow_days": 21}, address
