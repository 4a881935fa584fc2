"""People, joining, accountants and sightings in the browser."""

from __future__ import annotations

import re
import uuid

import pytest
from django.test import Client
from django.urls import reverse

from config.models import OutboxMessage, User
from planning.models import AccountantGrant, Invitation, Membership, Sighting
from planning.services import grants
from tests.cast import PASSWORD, make_cast

NEW = "mira.fen@lockkeepers.example"


@pytest.fixture
def cast(db: None):
    """Everybody, in the database."""
    return make_cast()


def browser(cast, who: str) -> Client:
    """A browser whose person signed in with a password just now."""
    client = Client()
    client.post("/login/", {"login": getattr(cast, who).email, "password": PASSWORD})
    return client


def invite(cast, **more):
    form = {"email": NEW, "role": "advisor", "name": "Mira Fen", "language": "en"} | more
    return browser(cast, "owner").post("/people/", form)


def link_in(text: str) -> str:
    return re.search(r"(/join/[0-9a-f-]{36}/[0-9a-f-]{36}/[\w-]+/)", text).group(1)


def test_without_a_mail_server_the_link_is_shown_once_and_works_once(cast):
    answer = invite(cast)
    link = link_in(answer.content.decode())
    assert "/join/" not in browser(cast, "owner").get("/people/").content.decode()
    guest = Client()
    first = guest.get(link)
    assert (first.status_code, first["Location"]) == (302, "/join/")
    page = guest.get("/join/")
    assert page.status_code == 200
    assert link.split("/")[4] not in page.content.decode()
    given = {"name": "Mira Fen", "language": "en", "password": PASSWORD, "again": PASSWORD}
    assert guest.post("/join/", given | {"again": "other"}).status_code == 422
    assert guest.post("/join/", given | {"password": "a", "again": "a"}).status_code == 422
    assert guest.post("/join/", given)["Location"] == "/login/"
    assert Client().get(link).status_code == 404
    assert guest.get("/join/").status_code == 404
    cast_new = Client()
    cast_new.post("/login/", {"login": NEW, "password": PASSWORD})
    assert cast_new.get("/").status_code == 200


def test_with_a_mail_server_the_link_goes_by_mail_alone(cast, settings):
    settings.EMAIL_HOST = "mail.lockkeepers.example"
    answer = invite(cast, language="fr")
    assert answer.status_code == 302
    with cast.system.opened():
        message = OutboxMessage.objects.get(kind="invitation")
        assert message.recipient == NEW
        assert "Content-Language: fr" in message.content


def test_a_known_address_signs_in_and_comes_back_to_join(cast):
    answer = invite(cast, email=cast.stranger.email, role="accountant")
    guest = Client()
    guest.get(link_in(answer.content.decode()))
    assert "/login/?next=/join/" in guest.get("/join/").content.decode()
    assert guest.post("/join/", {"password": "x" * 20, "again": "x" * 20}).status_code == 422
    guest.post("/login/?next=/join/", {"login": cast.stranger.email, "password": PASSWORD})
    assert guest.post("/join/")["Location"] == "/"
    with cast.system.opened():
        assert Membership.objects.get(user=cast.stranger).role == "accountant"


@pytest.mark.parametrize("who", ["advisor", "assistant", "client", "accountant"])
def test_only_a_principal_has_the_people_pages(cast, who):
    client = browser(cast, who)
    with cast.system.opened():
        row = Membership.objects.get(user=cast.advisor)
    for path in ("/people/", f"/people/{row.pk}/"):
        assert client.get(path).status_code == 403
    assert client.post("/people/", {}).status_code == 403
    assert client.post(f"/people/{row.pk}/act/", {"act": "off"}).status_code == 403


def test_the_stranger_finds_nobody_of_ours(cast):
    with cast.system.opened():
        row = Membership.objects.get(user=cast.advisor)
    client = browser(cast, "stranger")
    assert client.get(f"/people/{row.pk}/").status_code == 404
    assert client.post(f"/people/{row.pk}/act/", {"act": "off"}).status_code == 404
    assert client.post(f"/people/invitations/{uuid.uuid4()}/", {"act": "revoke"}).status_code == 404
    assert "advisor@lockkeepers" not in client.get("/people/").content.decode()


def test_an_old_sign_in_is_asked_for_the_password_before_a_change(cast, settings):
    client = browser(cast, "owner")
    settings.ACCOUNT_REAUTHENTICATION_TIMEOUT = -1
    with cast.system.opened():
        row = Membership.objects.get(user=cast.advisor)
    answer = client.post(f"/people/{row.pk}/act/", {"act": "off"})
    assert answer.status_code == 302
    assert reverse("account_reauthenticate") in answer["Location"]
    assert client.get(f"/people/{row.pk}/").status_code == 200
    with cast.system.opened():
        assert Membership.objects.get(pk=row.pk).active


def test_a_principal_switches_off_and_reassigns(cast):
    client = browser(cast, "owner")
    with cast.system.opened():
        ids = {one.user.email.split("@")[0]: one.pk for one in Membership.objects.all()}
    act = f"/people/{ids['colleague']}/act/"
    assert client.post(act, {"act": "assign", "household": "HH-1"}).status_code == 422
    moved = {"act": "assign", "household": "HH-1", "reason": "holiday"}
    assert client.post(act, moved).status_code == 302
    assert browser(cast, "colleague").get("/households/HH-1/").status_code == 200
    assert client.post(f"/people/{ids['owner']}/act/", {"act": "off"}).status_code == 422
    assert client.post(f"/people/{ids['advisor']}/act/", {"act": "off"}).status_code == 302
    assert browser(cast, "advisor").get("/").status_code == 403


def given(cast, **more):
    form = {"year": "2025", "name": "Ines Quay", "email": "ines@ledgerloft.example"} | more
    return browser(cast, "advisor").post("/households/HH-1/shares/", form)


def test_a_link_and_a_code_open_the_granted_year_and_nothing_else(cast):
    text = given(cast).content.decode()
    link = re.search(r"(/shared/[0-9a-f-]{36}/[0-9a-f-]{36}/)", text).group(1)
    code = re.search(r'id="code"[^>]*value="(\d{8})"', text).group(1)
    guest = Client()
    assert guest.get("/shared/").status_code == 302
    assert guest.get(link).status_code == 200
    assert guest.get("/shared/").status_code == 302
    assert guest.post(link, {"code": "1"}).status_code == 422
    assert guest.post(link, {"code": code})["Location"] == "/shared/"
    page = guest.get("/shared/").content.decode()
    assert "HH-1" in page
    assert "Ines Quay" in page
    for path in ("/", "/households/HH-1/", "/households/HH-1/shares/", "/people/"):
        assert guest.get(path).status_code == 302, path
    assert guest.post("/households/HH-1/shares/", {}).status_code == 302
    for path in ("/households/HH-1/trace/2024/", "/households/HH-2/trace/2025/"):
        assert guest.get(path).status_code == 404, path
    assert Client().post(link, {"code": code}).status_code == 422
    with cast.system.opened():
        row = AccountantGrant.objects.get()
    grants.revoke_grant(access=cast.access("owner"), grant_id=row.pk)
    assert guest.get("/shared/").status_code == 302


def test_a_guests_session_ends_after_thirty_minutes(cast):
    row, code = grants.grant(
        access=cast.access("advisor"), ref="HH-1", year=2025, name="Ines", email="i@q.example"
    )
    guest = Client()
    guest.post(reverse("enter", args=[cast.firm.pk, row.pk]), {"code": code})
    assert guest.get("/shared/").status_code == 200
    session = guest.session
    firm, grant_id, begun = session["grant"]
    session["grant"] = [firm, grant_id, begun - 1800]
    session.save()
    assert guest.get("/shared/").status_code == 302


def test_an_accountant_with_a_login_sees_what_is_shared(cast):
    client = browser(cast, "accountant")
    assert client.get("/")["Location"] == "/shared/"
    assert "HH-1" not in client.get("/shared/").content.decode()
    with cast.system.opened():
        member = Membership.objects.get(user=cast.accountant)
    assert given(cast, member=str(member.pk)).status_code == 302
    assert "HH-1" in client.get("/shared/").content.decode()
    assert client.get("/households/HH-1/").status_code == 403


@pytest.mark.parametrize(
    ("who", "status"),
    [("colleague", 404), ("stranger", 200), ("assistant", 403), ("client", 403)],
)
def test_shares_are_for_who_advises_the_household(cast, who, status):
    given(cast)
    client = browser(cast, who)
    answer = client.get("/households/HH-1/shares/")
    assert answer.status_code == status
    assert "Ines" not in answer.content.decode()


def test_sightings_are_written_once_an_hour_and_shown_to_staff_and_client(cast):
    advisor = browser(cast, "advisor")
    for _ in range(3):
        assert advisor.get("/households/HH-1/").status_code == 200
    assert browser(cast, "colleague").get("/households/HH-1/").status_code == 404
    with cast.system.opened():
        rows = Sighting.objects.filter(route="household", household=cast.household)
        assert [one.user_id for one in rows] == [cast.advisor.pk]
        assert not Sighting.objects.filter(user=cast.colleague).exists()
    for who in ("client", "owner", "assistant"):
        text = browser(cast, who).get("/households/HH-1/seen/").content.decode()
        assert "Advisor" in text
    assert browser(cast, "colleague").get("/households/HH-1/seen/").status_code == 404
    assert browser(cast, "accountant").get("/households/HH-1/seen/").status_code == 403
    assert "Advisor" not in strip(browser(cast, "stranger").get("/households/HH-1/seen/"))


def strip(answer) -> str:
    """The table of a page alone."""
    return "".join(re.findall(r"<tbody>.*?</tbody>", answer.content.decode(), re.DOTALL))


@pytest.mark.parametrize("path", ["/people/", "/households/HH-1/shares/", "/households/HH-1/seen/"])
def test_the_pages_speak_french(cast, path):
    client = browser(cast, "owner")
    client.post("/language/", {"language": "fr", "next": "/"})
    text = client.get(path).content.decode()
    assert '<html lang="fr-CA">' in text
    for forbidden in (" style=", "<style", "onclick", ">People<", "Who saw", "Let them read"):
        assert forbidden not in text


def test_invitations_are_not_kept_in_the_clear(cast):
    link = link_in(invite(cast).content.decode())
    with cast.system.opened():
        assert link.split("/")[4] not in str(list(Invitation.objects.values()))
    assert not User.objects.filter(email=NEW).exists()
