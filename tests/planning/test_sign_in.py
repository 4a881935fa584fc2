"""Signing in: counted tries, second factors, sessions, resets, and what each leaves behind."""

from __future__ import annotations

import re
import time

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import (
    TOTP,
    format_hotp_value,
    hotp_value,
    yield_hotp_counters_from_time,
)
from cryptography.fernet import InvalidToken
from django.core import mail
from django.test import Client
from django.urls import get_resolver, reverse

from config.encryption import opened, sealed
from config.models import AuditEvent, RateCount
from config.rates import BY_ROUTE, SIGN_IN_ACCOUNT, Limit
from tests.cast import PASSWORD

pytestmark = pytest.mark.django_db
LOGIN = "/login/"


def sign_in(client: Client, user, password: str = PASSWORD, **more):
    return client.post(LOGIN, {"login": user.email, "password": password}, **more)


def code(secret: str, ahead: int = 0) -> str:
    """The six digits an app shows for a secret, some steps ahead."""
    counters = list(yield_hotp_counters_from_time())
    return format_hotp_value(hotp_value(secret, counters[len(counters) // 2] + ahead))


def with_app(user) -> str:
    """Give a user an authenticator app; its secret."""
    secret = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP"
    TOTP.activate(user, secret)
    return secret


def test_a_right_password_opens_the_book_and_is_in_the_trail(cast):
    client = Client()
    answer = sign_in(client, cast.advisor)
    assert (answer.status_code, answer["Location"]) == (302, "/")
    assert client.get("/").status_code == 200
    with cast.system.opened():
        (event,) = AuditEvent.objects.filter(action="person.sign_in")
        assert event.by_id == cast.advisor.pk


def test_a_wrong_password_and_an_unknown_address_are_told_the_same(cast):
    wrong = sign_in(Client(), cast.advisor, "not the one at all")
    nobody = Client().post(LOGIN, {"login": "nobody@lockkeepers.example", "password": PASSWORD})
    told = [
        re.findall(r'role="alert">(.*?)</ul>', one.content.decode(), re.S)
        for one in (wrong, nobody)
    ]
    assert told[0] == told[1] != []
    assert wrong.status_code == nobody.status_code == 200


def test_the_sixth_try_at_one_account_waits_even_with_the_right_password(cast):
    client = Client()
    for _try in range(SIGN_IN_ACCOUNT.tries):
        sign_in(client, cast.advisor, "not the one at all")
    sign_in(client, cast.advisor)
    assert client.get("/").status_code == 302, "still outside"
    # A stranger who hammers an account from elsewhere does not shut its owner out.
    owner = Client(REMOTE_ADDR="198.51.100.7")
    sign_in(owner, cast.advisor)
    assert owner.get("/").status_code == 200
    # And somebody else at the same address still gets in.
    assert sign_in(client, cast.colleague)["Location"] == "/"


def test_right_passwords_are_not_counted(cast):
    for _try in range(SIGN_IN_ACCOUNT.tries + 2):
        assert sign_in(Client(), cast.advisor)["Location"] == "/"


def test_a_window_ends_and_tries_begin_anew(db):
    limit = Limit("test", 1, 1)
    assert limit.allows("a")
    assert not limit.allows("a")
    assert limit.allows("b")
    time.sleep(1.1)
    assert limit.allows("A ")
    assert "a" not in {one.key for one in RateCount.objects.all()}


def test_every_limited_route_exists():
    names = {name for name in get_resolver().reverse_dict if isinstance(name, str)}
    assert set(BY_ROUTE) <= names


def test_nobody_signs_up():
    assert not [name for name in get_resolver().reverse_dict if "signup" in str(name)]


@pytest.mark.parametrize("path", ["/", "/runs/", "/me/sessions/"])
def test_staff_without_a_second_factor_is_led_to_it(cast, settings, path):
    settings.SECOND_FACTOR = "staff"
    client = Client()
    sign_in(client, cast.advisor)
    assert client.get(path)["Location"] == reverse("mfa_index")
    assert client.get(reverse("mfa_index")).status_code == 200


def test_a_client_is_offered_a_second_factor_and_not_forced(cast, settings):
    settings.SECOND_FACTOR = "staff"
    client = Client()
    sign_in(client, cast.client)
    assert client.get(reverse("household", args=[cast.household.ref])).status_code == 200


def test_an_app_is_added_and_then_asked_for(cast, settings):
    settings.SECOND_FACTOR = "staff"
    client = Client()
    sign_in(client, cast.advisor)
    page = client.get(reverse("mfa_activate_totp")).content.decode()
    assert "<svg" in page
    secret = re.search(r"<code>(\w+)</code>", page).group(1)
    assert client.post(reverse("mfa_activate_totp"), {"code": "000000"}).status_code == 200
    added = client.post(reverse("mfa_activate_totp"), {"code": code(secret)})
    assert added.status_code == 302
    assert client.get("/").status_code == 200
    row = Authenticator.objects.get(user=cast.advisor, type="totp")
    assert secret not in str(row.data)
    assert opened(row.data["secret"]) == secret
    # Next time the password alone opens nothing.
    second = Client()
    assert sign_in(second, cast.advisor)["Location"] == reverse("mfa_authenticate")
    assert second.get("/").status_code == 302
    used = code(secret)
    for one in (used, code(secret, ahead=1)):
        answer = second.post(reverse("mfa_authenticate"), {"code": one})
        if answer.status_code == 302:
            break
    assert second.get("/").status_code == 200


def test_a_code_works_once(cast):
    secret = with_app(cast.advisor)
    first, again = Client(), Client()
    now = code(secret)
    for client, status in ((first, 302), (again, 200)):
        sign_in(client, cast.advisor)
        assert client.post(reverse("mfa_authenticate"), {"code": now}).status_code == status
    assert again.get("/").status_code == 302


def test_codes_are_counted(cast):
    with_app(cast.advisor)
    client = Client()
    sign_in(client, cast.advisor)
    tries = BY_ROUTE["mfa_authenticate"].tries
    statuses = [
        client.post(reverse("mfa_authenticate"), {"code": f"{n:06}"}).status_code
        for n in range(tries + 1)
    ]
    assert statuses == [200] * tries + [429]


def test_staff_cannot_drop_the_last_second_factor(cast, settings):
    settings.SECOND_FACTOR = "staff"
    secret = with_app(cast.advisor)
    client = Client()
    sign_in(client, cast.advisor)
    client.post(reverse("mfa_authenticate"), {"code": code(secret)})
    answer = client.post(reverse("mfa_deactivate_totp"))
    assert answer.status_code in (200, 302, 403)
    assert Authenticator.objects.filter(user=cast.advisor, type="totp").exists()


def test_a_reset_link_is_mailed_once_to_the_address_on_file(cast):
    known = Client().post("/password/", {"email": cast.advisor.email.upper()})
    unknown = Client(REMOTE_ADDR="198.51.100.8").post("/password/", {"email": "x@nowhere.example"})
    assert known.status_code == unknown.status_code == 302
    assert known["Location"] == unknown["Location"]
    (letter,) = mail.outbox
    assert letter.to == [cast.advisor.email]
    path = re.search(r"https?://[^/]+(/password/key/\S+)", letter.body).group(1)
    client = Client()
    form = client.get(path, follow=True).redirect_chain[-1][0]
    new = "another towpath beside the river"
    assert client.post(form, {"password1": new, "password2": new}).status_code == 302
    assert client.get("/").status_code == 302, "a reset signs nobody in"
    assert sign_in(client, cast.advisor, new)["Location"] == "/"
    used = Client().get(path, follow=True)
    assert not re.search(r'name="password1"', used.content.decode()), "a link works once"


def test_a_reset_is_refused_after_three_an_hour(cast):
    client = Client()
    answers = [
        client.post("/password/", {"email": f"p{n}@x.example"}).status_code for n in range(4)
    ]
    assert answers == [302, 302, 302, 429]


def test_a_dangerous_act_asks_again_after_five_minutes(cast, settings):
    client = Client()
    sign_in(client, cast.advisor)
    client.get("/")
    assert client.get(reverse("mfa_activate_totp")).status_code == 200
    session = client.session
    session["signed_in_at"] -= settings.ACCOUNT_REAUTHENTICATION_TIMEOUT + 1
    session.save()
    asked = client.get(reverse("mfa_activate_totp"))
    assert asked["Location"].startswith(reverse("account_reauthenticate"))
    confirm = asked["Location"]
    assert client.post(confirm, {"password": "not the one at all"}).status_code == 200
    assert client.post(confirm, {"password": PASSWORD}).status_code == 302
    assert client.get(reverse("mfa_activate_totp")).status_code == 200


def test_other_sessions_can_be_seen_and_ended(cast):
    here, there = Client(), Client(HTTP_USER_AGENT="a phone")
    sign_in(here, cast.advisor)
    sign_in(there, cast.advisor)
    page = here.get("/me/sessions/").content.decode()
    assert "a phone" in page
    here.post("/me/sessions/")
    assert here.get("/").status_code == 200
    assert there.get("/").status_code == 302


def test_what_is_sealed_opens_only_with_its_key(settings):
    kept = sealed("a seed")
    assert opened(kept) == "a seed"
    assert sealed("a seed") != kept
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY]
    settings.SECRET_KEY = "another key" * 6
    assert opened(kept) == "a seed"
    settings.SECRET_KEY_FALLBACKS = []
    with pytest.raises(InvalidToken):
        opened(kept)


@pytest.mark.parametrize("language", ["en", "fr"])
@pytest.mark.parametrize(
    "name",
    ["mfa_index", "mfa_activate_totp", "mfa_list_webauthn", "mfa_add_webauthn",
     "account_change_password", "usersessions_list", "account_reset_password"],
)  # fmt: skip
def test_the_pages_are_ours_in_both_languages(cast, name, language):
    client = Client(HTTP_ACCEPT_LANGUAGE=language)
    if name != "account_reset_password":
        sign_in(client, cast.advisor)
    page = client.get(reverse(name), follow=True)
    text = page.content.decode()
    assert page.status_code == 200
    assert f'lang="{language}-CA"' in text
    assert 'class="bottom"' in text
    assert "style=" not in text
