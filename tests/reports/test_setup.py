"""Setting a household up on the desk: by role, step by step, to the file and back."""

from __future__ import annotations

import json

import pytest
from django.test import Client
from django.urls import reverse

from config.database import firm_scope
from config.models import AuditEvent, User
from ledger.mapping import household_value
from ledger.models import SourceFile
from planning.models import (
    Delegation,
    Household,
    HouseholdDraft,
    HouseholdVersion,
    Membership,
)
from tests.cast import SAMPLES
from tests.reports import sample
from tests.reports.conftest import ADVISOR, CANARY, Book, load, make_firm
from tests.reports.sample import REF
from tests.reports.setup_answers import ANSWERS

START = reverse("new_household")


@pytest.fixture
def book(db: None) -> Book:
    """Heron Quay on file and nothing closed, and another firm's household."""
    firm, people = make_firm("Fernhollow Advisory", ("principal", "advisor", "assistant", "client"))
    other, strangers = make_firm("Quillback Wealth", ("principal",))
    people |= {"stranger": strangers["principal"]}
    people["nobody"] = User.objects.create_user("no.firm@elsewhere.example", "x" * 14)
    load(firm, sample.file())
    with firm_scope(firm):
        member = {one.role: one for one in Membership.objects.all()}
        Delegation.objects.create(
            firm_id=firm, assistant=member["assistant"], advisor=member["advisor"]
        )
    theirs = sample.file()
    theirs["household"] |= {"ref": "HH-0999", "name": CANARY}
    load(other, theirs)
    return Book(firm, other, people)


def begin(client: Client) -> str:
    """Begin a draft; its address without the step."""
    answer = client.post(START)
    assert answer.status_code == 302
    return answer["Location"].removesuffix("household/")


def fill(client: Client, base: str, **changes: dict[str, str]) -> None:
    """Fill in every step of a new household."""
    for step, typed in ANSWERS.items():
        answer = client.post(f"{base}{step}/", typed | changes.get(step, {}))
        assert answer.status_code == 302, (step, answer.content.decode())


def mark(client: Client, base: str) -> str:
    text = client.get(f"{base}review/").content.decode()
    return text.split('name="mark" value="')[1].split('"')[0]


def held(book, ref: str):
    with book.access().opened():
        return household_value(Household.objects.get(ref=ref))


def test_to_the_end(book):
    client = book.signed_in("advisor")
    base = begin(client)
    fill(client, base)
    review = client.get(f"{base}review/").content.decode()
    for part in (
        "Tern Harbour",
        "Prices fall 30%",
        "towpath/household",
        "Put the household on file",
    ):
        assert part in review, part
    saved = client.post(f"{base}review/", {"mark": mark(client, base), "reason": "first meeting"})
    assert saved.status_code == 302
    assert saved["Location"] == reverse("household", args=["HH-500"])
    value = held(book, "HH-500")
    assert value.facility.line_cap_cents == 40_000_000
    assert str(value.mortgages[0].terms[0].rate_annual) == "0.0489"
    assert dict(value.plan.opening) == {"mtg": 45_000_000, "line": 1_000_000, "inv": 900_000}
    assert value.uses[0].draw == "line-opening"
    assert [one.amount_cents for one in value.uses[0].splits] == [900_000, 100_000]
    assert value.lines[0].claimant == "m1"
    with book.access().opened():
        assert HouseholdDraft.objects.count() == 0
        kept = SourceFile.objects.get(household__ref="HH-500")
        assert json.loads(bytes(kept.content))["household"]["ref"] == "HH-500"
        loaded = AuditEvent.objects.filter(action="household.load").order_by("-number")[0]
        assert loaded.detail["reason"] == "first meeting"
    assert client.post(f"{base}review/", {"mark": "x"}).status_code == 404


def test_problems_stand_beside_their_fields_and_are_kept(book):
    client = book.signed_in("advisor")
    base = begin(client)
    answer = client.post(f"{base}facility/", {"facility.lender_value": "plenty"})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert 'id="facility.lender_value-fault"' in text
    assert 'value="plenty"' in text
    assert 'id="facility.line_cap-fault"' in text
    assert "Fill in this field." in text
    assert 'value="plenty"' in client.get(f"{base}facility/").content.decode()
    review = client.get(f"{base}review/").content.decode()
    assert "Put the household on file" not in review
    assert client.post(f"{base}review/", {"mark": "x"}).status_code in (409, 422)
    with book.access().opened():
        assert Household.objects.count() == 1


def test_an_empty_account_is_there_once_its_owner_is_ticked(book):
    client = book.signed_in("advisor")
    base = begin(client)
    nothing = {"investments[0].kind": "non-registered", "investments[0].@balance": "0.00"}
    fill(client, base, line={"lines[0].@balance": "0.00"}, investments=nothing)
    assert held_draft(book)["plan"]["opening"] == {
        "mtg": "450000.00",
        "line": "0.00",
        "inv": "0.00",
    }
    unticked = {**nothing, "investments[1].kind": "tfsa", "investments[1].@balance": "0.00"}
    client.post(f"{base}investments/", unticked)
    assert [one["ref"] for one in held_draft(book)["investments"]] == ["inv"]
    client.post(f"{base}investments/", unticked | {"investments[1].owners": ["m1"]})
    assert [one["ref"] for one in held_draft(book)["investments"]] == ["inv", "inv1"]
    client.post(f"{base}investments/", {"investments[0].@remove": "1"})
    assert [one["ref"] for one in held_draft(book)["investments"]] == ["inv1"]


def held_draft(book) -> dict:
    with book.access().opened():
        return HouseholdDraft.objects.get().content


def test_a_reference_in_use_is_refused_and_nothing_written(book):
    client = book.signed_in("principal")
    base = begin(client)
    taken = {"household.ref": REF}
    fill(client, base, household=taken)
    before = held(book, REF)
    answer = client.post(f"{base}review/", {"mark": mark(client, base)})
    assert answer.status_code == 422
    assert "is in use in this firm" in answer.content.decode()
    assert held(book, REF) == before


def test_an_advisor_sets_up_their_own_book_only(book):
    client = book.signed_in("advisor")
    base = begin(client)
    fill(client, base, household={"household.advisor": "principal@fernhollow.example"})
    answer = client.post(f"{base}review/", {"mark": mark(client, base)})
    assert answer.status_code == 422
    assert "own book" in answer.content.decode()
    with book.access().opened():
        assert not Household.objects.filter(ref="HH-500").exists()


def test_what_was_not_reviewed_is_not_saved(book):
    client = book.signed_in("advisor")
    base = begin(client)
    fill(client, base)
    seen = mark(client, base)
    client.post(f"{base}facility/", ANSWERS["facility"] | {"facility.line_cap": "390000"})
    assert client.post(f"{base}review/", {"mark": seen}).status_code == 409
    with book.access().opened():
        assert not Household.objects.filter(ref="HH-500").exists()


@pytest.mark.parametrize("role", ["assistant", "client", "nobody"])
def test_others_may_not(book, role):
    client = book.signed_in(role)
    assert client.get(START).status_code == 403
    assert client.post(START).status_code == 403
    assert client.post(reverse("edit_household", args=[REF])).status_code == 403


def test_a_draft_is_its_owners_alone(book):
    base = begin(book.signed_in("advisor"))
    for other in ("principal", "stranger"):
        client = book.signed_in(other)
        for step in (*ANSWERS, "review"):
            assert client.get(f"{base}{step}/").status_code == 404
            assert client.post(f"{base}{step}/", ANSWERS["household"]).status_code == 404
        assert client.post(f"{base}discard/").status_code == 404
    assert book.signed_in("stranger").post(reverse("edit_household", args=[REF])).status_code == 404
    with book.access().opened():
        assert HouseholdDraft.objects.count() == 1


def test_begun_twice_is_one_draft_and_discarded_is_none(book):
    client = book.signed_in("advisor")
    base = begin(client)
    assert begin(client) == base
    assert client.post(f"{base}discard/").status_code == 302
    assert client.get(f"{base}household/").status_code == 404
    with book.access().opened():
        assert HouseholdDraft.objects.count() == 0


def change(client: Client) -> str:
    answer = client.post(reverse("edit_household", args=[REF]))
    return answer["Location"].removesuffix("household/")


def test_a_change_is_a_new_version_with_its_reason(book):
    client = book.signed_in("advisor")
    before = held(book, REF)
    base = change(client)
    assert CANARY not in client.get(f"{base}review/").content.decode()
    typed = {
        f"facility.{key}": value
        for key, value in {
            "lender_value": "900000",
            "registered_limit": "720000",
            "revolving_cap": "65",
            "line_cap": "500000",
            "excess_rule": "excess-first",
            "capitalised_interest": "compounding",
            "interest_method": "paid",
        }.items()
    }
    assert client.post(f"{base}facility/", typed).status_code == 302
    refused = client.post(f"{base}review/", {"mark": mark(client, base)})
    assert refused.status_code == 422
    assert "a change needs a reason" in refused.content.decode()
    done = client.post(f"{base}review/", {"mark": mark(client, base), "reason": "new valuation"})
    assert done.status_code == 302, done.content.decode()
    after = held(book, REF)
    assert after.facility.lender_value_cents == 90_000_000
    assert (after.statements, after.uses, after.members) == (
        before.statements,
        before.uses,
        before.members,
    )
    with book.access().opened():
        newest = HouseholdVersion.objects.filter(household__ref=REF).order_by("-number")[0]
        assert (newest.number, newest.reason) == (2, "new valuation")


def test_an_unchanged_draft_changes_nothing(book):
    client = book.signed_in("advisor")
    base = change(client)
    done = client.post(f"{base}review/", {"mark": mark(client, base), "reason": "looked"})
    assert done.status_code == 302
    with book.access().opened():
        assert HouseholdVersion.objects.filter(household__ref=REF).count() == 1


def test_every_form_gives_back_what_it_showed(book):
    """Each step of a household on file posted as shown: the file stays equal to the cent."""
    client = book.signed_in("advisor")
    for name in ("rental-dam", "renewal-passed", "other-payer-underwater"):
        file = json.loads((SAMPLES / f"{name}.json").read_text("utf-8"))
        file["household"] |= {"ref": name, "advisor": ADVISOR}
        load(book.firm_id, file)
        before = held(book, name)
        answer = client.post(reverse("edit_household", args=[name]))
        base = answer["Location"].removesuffix("household/")
        for step in ANSWERS:
            page = client.get(f"{base}{step}/")
            posted = client.post(f"{base}{step}/", typed_in(page))
            assert posted.status_code == 302, (name, step, posted.content.decode())
        shown = client.get(f"{base}review/").content.decode()
        assert "errorlist" not in shown, shown[shown.index("errorlist") :][:900]
        saved = client.post(f"{base}review/", {"mark": mark(client, base), "reason": "the same"})
        assert saved.status_code == 302
        assert held(book, name) == before


def typed_in(page) -> dict[str, list[str]]:
    """What a browser would send from a page's set-up form, left as it is."""
    from html.parser import HTMLParser

    sent: dict[str, list[str]] = {}

    class Form(HTMLParser):
        select = ""

        def handle_starttag(self, tag, attrs):
            found = dict(attrs)
            if tag == "select":
                self.select = found["name"]
                self.first = True
            elif tag == "option" and self.select and (self.first or "selected" in found):
                sent[self.select] = [found["value"]]
                self.first = False
            elif tag == "input" and found.get("name") and found.get("type") != "checkbox":
                sent.setdefault(found["name"], []).append(found.get("value") or "")
            elif tag == "input" and found.get("name") and "checked" in found:
                sent.setdefault(found["name"], []).append(found["value"])

        def handle_endtag(self, tag):
            if tag == "select":
                self.select = ""

    Form().feed(page.content.decode().split('class="setup">')[1].split("</form>")[0])
    return sent
