"""A draw of two years ago turns out personal: later months, packets and pages say so."""

from __future__ import annotations

import json
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from config.database import firm_scope
from config.models import User
from ledger.models import HouseholdMonth
from ledger.selectors.restatements import facts_between, restated, revisions
from planning.access import Access
from planning.core.money import cents_from_text
from planning.models import Firm, Household, Membership
from reports.demo import book
from reports.demo.profiles import FIRST_MONTH, PROFILES
from reports.models import Packet
from reports.packets.period import Quarter
from reports.selectors.household import household_page_of
from reports.services.packets import QuarterlyRequest, draw_packet, issue_quarterly
from tests.reports.conftest import load

FIRM = "Sluicegate Advisory"
REF = "HH-0101"
LAST = "2026-08"
REASON = "an invoice came to light"
EARLY, LATE = Quarter(2024, 3), Quarter(2026, 2)
# Two closes, each in its own transaction: only then do their times differ.
pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


@pytest.fixture
def firm() -> Firm:
    """A firm with one demo household, closed for 28 months, two packets issued."""
    found = Firm(name=FIRM)
    with firm_scope(found.pk):
        found.save(force_insert=True)
        user = User.objects.create_user("reeve@sluicegate.example", "correct horse battery")
        Membership.objects.create(firm_id=found.pk, user=user, role="principal")
    load(found.pk, the_file())
    close()
    for quarter in (EARLY, LATE):
        issue(found, quarter)
    return found


def the_file() -> dict[str, Any]:
    """The demo household's file with its whole life in it."""
    profile = next(one for one in PROFILES if one.ref == REF)
    return book.Story(profile, None).whole


def a_draw(file: dict[str, Any], month: str) -> str:
    """The draw of a month that went to the portfolio."""
    drawn = {
        entry["id"] for one in file["statements"] for entry in one["entries"]
        if entry["kind"] == "draw" and entry["date"].startswith(month)
    }  # fmt: skip
    return next(
        use["draw"] for use in file["uses"]
        if use["draw"] in drawn and use["splits"][0]["use"] == "income-investment"
    )  # fmt: skip


def close() -> None:
    """Close everything."""
    call_command("close_month", LAST, first=FIRST_MONTH, firm=FIRM, inline=True, stdout=StringIO())


def issue(firm: Firm, quarter: Quarter) -> Packet:
    """Issue and draw a packet."""
    access = Access.system(firm.pk, "test")
    with access.opened():
        packet = issue_quarterly(access=access, request=QuarterlyRequest(REF, quarter))
        return draw_packet(access=access, packet_id=packet.pk)


def results(firm: Firm) -> dict[str, dict[str, Any]]:
    """The newest result of every month."""
    with firm_scope(firm.pk):
        rows = HouseholdMonth.objects.filter(state="done").order_by("month")
        return {f"{row.month:%Y-%m}": row.result for row in rows}


def restate(firm: Firm, month: str = "2024-08") -> str:
    """The draw of a month turns out to be personal; everything is closed again."""
    file = json.loads(json.dumps(the_file()))
    draw = a_draw(file, month)
    for use in file["uses"]:
        if use["draw"] == draw:
            use["splits"] = [{"amount": use["splits"][0]["amount"], "use": "personal"}]
    call = json.dumps(file).encode()
    from ledger.services.households import load_households

    load_households(
        access=Access.system(firm.pk, "test"), files=[("corrected.json", call)], reason=REASON
    )
    close()
    return draw


def cents(result: dict[str, Any]) -> int:
    """A month's deductible interest."""
    return cents_from_text(result["actual"]["deductible"])


def test_a_draw_of_two_years_ago_restates_every_later_month(firm: Firm) -> None:
    before = results(firm)
    draw = restate(firm)
    after = results(firm)
    with firm_scope(firm.pk):
        row = Household.objects.get(ref=REF)
        versions = {
            f"{one.month:%Y-%m}": one.version for one in HouseholdMonth.objects.filter(state="done")
        }
        (found,) = restated(revisions(row.pk))
        facts = facts_between(row, found.known_before, found.known_after, found.through)
    # The months before the draw keep their rows; every later one has a new revision.
    assert {month for month, version in versions.items() if version == 1} == {
        "2024-05", "2024-06", "2024-07",
    }  # fmt: skip
    assert found.looked_at == len(versions) - 3
    assert found.reason == REASON
    # The difference is explained to the cent, month by month and year by year.
    assert {one.month: one.difference("deductible") for one in found.months} == {
        month: cents(after[month]) - cents(before[month]) for month in versions if month > "2024-07"
    }
    last_before, last_after = before[LAST]["deductions"], after[LAST]["deductions"]
    for year, change in found.by_year("deductible").items():
        assert change < 0
        assert change == cents_from_text(last_after[str(year)]["deductible"]) - cents_from_text(
            last_before[str(year)]["deductible"]
        )
    assert found.difference("deductible") == sum(found.by_year("deductible").values())
    (use,) = [one for one in facts if one.what == "use"]
    assert (use.action, use.where) == ("altered", draw)
    assert "personal" in use.fields[0].after
    assert {one.what for one in facts} == {"use", "evidence"}


def test_packets_of_restated_months_are_superseded_and_keep_their_bytes(firm: Firm) -> None:
    with firm_scope(firm.pk):
        before = {one.pk: (bytes(one.pdf), one.snapshot) for one in Packet.objects.all()}
    was = results(firm)
    restate(firm, "2024-10")
    now = results(firm)
    access = Access.system(firm.pk, "test")
    with access.opened():
        page = household_page_of(access, REF)
    early = next(one for one in page["packets"] if one["name"].startswith("quarterly-HH-0101-2024"))
    late = next(one for one in page["packets"] if one["name"].startswith("quarterly-HH-0101-2026"))
    # The quarter before the draw stands as it was said.
    assert (early["restated"], early["replaced_by"]) == (None, None)
    assert late["replaced_by"] is None
    quarter = [cents(now[month]) - cents(was[month]) for month in LATE.months]
    assert cents_from_text(late["restated"]["difference"]) == sum(quarter) < 0
    packet = issue(firm, LATE)
    assert packet.version == 2
    with access.opened():
        page = household_page_of(access, REF)
    first, second = sorted(
        (one for one in page["packets"] if "2026" in one["name"]), key=lambda one: one["version"]
    )
    assert (first["replaced_by"], second["replaced_by"]) == (2, None)
    assert first["restated"] is not None
    assert second["restated"] is None
    with firm_scope(firm.pk):
        kept = {one.pk: (bytes(one.pdf), one.snapshot) for one in Packet.objects.all()}
    assert {pk: kept[pk] for pk in before} == before
    client = Client()
    client.force_login(User.objects.get(email="reeve@sluicegate.example"))
    text = client.get(reverse("household", args=[REF])).content.decode()
    for part in ("Superseded", "Version 2 takes its place", "Restatements", REASON):
        assert part in text, part
    month = client.get(reverse("month", args=[REF, "2026-06"])).content.decode()
    for part in ("Restated on", REASON, "Deductible interest was", "Facts that changed"):
        assert part in month, part
    whole = client.get(reverse("restatements", args=[REF])).content.decode()
    assert "Personal spending" in whole
    earlier = client.get(reverse("month", args=[REF, "2024-09"])).content.decode()
    assert "Restated on" not in earlier
