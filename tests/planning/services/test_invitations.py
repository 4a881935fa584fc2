"""Invitations: one open per address, one use per link, and nothing to be learnt from outside."""

from __future__ import annotations

import threading
import uuid

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connections

from config.database import firm_scope
from config.models import AuditEvent, User
from config.problems import BadInput
from planning.access import NotVisibleError
from planning.models import ClientAccess, Delegation, Invitation, Membership
from planning.services import invitations
from tests.cast import PASSWORD, make_cast

NEW = "mira.fen@lockkeepers.example"


def invited(cast, **more):
    wanted = {"email": NEW, "role": "advisor", "name": "Mira Fen"} | more
    return invitations.invite(access=cast.access("owner"), **wanted)


def join(cast, row, token, **more):
    given = {"name": "Mira Fen", "password": PASSWORD} | more
    return invitations.accept(firm_id=cast.firm.pk, invitation_id=row.pk, token=token, **given)


def test_an_invited_person_joins_with_a_login_of_their_own(cast):
    row, token = invited(cast, language="fr")
    member = join(cast, row, token, language="fr")
    assert (member.role, member.active) == ("advisor", True)
    user = User.objects.get(email=NEW)
    assert user.check_password(PASSWORD)
    assert (user.name, user.language) == ("Mira Fen", "fr")
    with cast.system.opened():
        acts = AuditEvent.objects.filter(object_type="invitation").values_list("action", flat=True)
        assert set(acts) == {"invitation.send", "invitation.accept"}
        assert token not in str(list(Invitation.objects.values()))


def test_a_link_works_once(cast):
    row, token = invited(cast)
    join(cast, row, token)
    with pytest.raises(NotVisibleError):
        join(cast, row, token, password="another towpath entirely")
    assert User.objects.get(email=NEW).check_password(PASSWORD)


def test_revoked_expired_replaced_and_invented_links_are_all_the_same(cast):
    told = set()

    def refused(row, token, firm=None):
        with pytest.raises(NotVisibleError) as found:
            invitations.accept(
                firm_id=firm or cast.firm.pk, invitation_id=row.pk, token=token,
                name="Mira Fen", password=PASSWORD,
            )  # fmt: skip
        told.add(str(found.value))

    row, token = invited(cast)
    refused(row, "x" * 43)
    refused(Invitation(pk=uuid.uuid4()), token)
    refused(row, token, cast.other_firm.pk)
    again, fresh = invitations.resend(access=cast.access("owner"), invitation_id=row.pk)
    refused(row, token)
    with cast.system.opened():
        Invitation.objects.filter(pk=row.pk).update(expires_at=again.recorded_at)
    refused(row, fresh)
    _, newest = invitations.resend(access=cast.access("owner"), invitation_id=row.pk)
    invitations.revoke(access=cast.access("owner"), invitation_id=row.pk)
    refused(row, newest)
    assert told == {"no such invitation"}
    assert not User.objects.filter(email=NEW).exists()


def test_one_open_invitation_per_address_until_it_is_over(cast):
    row, _ = invited(cast)
    with pytest.raises(BadInput):
        invited(cast, email=NEW.upper())
    with cast.system.opened():
        Invitation.objects.filter(pk=row.pk).update(expires_at=row.recorded_at)
    second, token = invited(cast)
    assert second.pk != row.pk
    join(cast, second, token)


def test_an_address_with_a_login_must_sign_in_and_keeps_its_password(cast):
    address = cast.stranger.email
    row, token = invited(cast, email=address, role="accountant")
    for user in (None, cast.advisor):
        with pytest.raises(BadInput):
            join(cast, row, token, user=user, password="taken over by a link")
    member = join(cast, row, token, user=cast.stranger, password="")
    assert member.user_id == cast.stranger.pk
    cast.stranger.refresh_from_db()
    assert cast.stranger.check_password(PASSWORD)


def test_inviting_tells_nothing_about_logins_elsewhere(cast):
    known, _ = invited(cast, email=cast.stranger.email)
    unknown, _ = invited(cast)
    kept = ("role", "name", "language", "accepted_at", "revoked_at", "generation")
    assert [getattr(known, one) for one in kept] == [getattr(unknown, one) for one in kept]


@pytest.mark.parametrize("password", ["short", "password1234", "mira.fen@lockkeepers"])
def test_a_weak_password_is_refused_and_the_link_stays(cast, password):
    row, token = invited(cast)
    with pytest.raises(BadInput):
        join(cast, row, token, password=password)
    join(cast, row, token)


def test_assistants_and_clients_get_what_they_were_invited_for(cast):
    with cast.system.opened():
        advisor = Membership.objects.get(user=cast.advisor)
    row, token = invited(cast, role="assistant", acts_for=[advisor.pk])
    helper = join(cast, row, token)
    row, token = invited(cast, email="c@lockkeepers.example", role="client", households=["HH-2"])
    client = join(cast, row, token, name="Cleo")
    with cast.system.opened():
        assert Delegation.objects.get(assistant=helper).advisor_id == advisor.pk
        assert ClientAccess.objects.get(membership=client).household_id == (
            cast.colleagues_household.pk
        )


@pytest.mark.parametrize(
    "wrong",
    [
        {"email": "no address"},
        {"role": "king"},
        {"role": "assistant"},
        {"role": "client"},
        {"role": "client", "households": ["HH-99"]},
        {"role": "assistant", "acts_for": [uuid.UUID(int=7)]},
        {"language": "de"},
        {"email": "advisor@lockkeepers.example"},
    ],
)
def test_what_cannot_be_sent_is_refused_and_nothing_is_written(cast, wrong):
    with pytest.raises(BadInput):
        invited(cast, **wrong)
    with cast.system.opened():
        assert not Invitation.objects.exists()


@pytest.mark.parametrize("who", ["advisor", "assistant", "client", "accountant"])
def test_only_a_principal_invites(cast, who):
    row, _ = invited(cast)
    access = cast.access(who)
    for act in (
        lambda: invitations.invite(access=access, email="x@y.example", role="advisor"),
        lambda: invitations.revoke(access=access, invitation_id=row.pk),
        lambda: invitations.resend(access=access, invitation_id=row.pk),
    ):
        with pytest.raises(PermissionDenied):
            act()


def test_the_stranger_reaches_no_invitation_of_ours(cast):
    row, _ = invited(cast)
    for act in (invitations.revoke, invitations.resend):
        with pytest.raises(NotVisibleError):
            act(access=cast.access("stranger"), invitation_id=row.pk)


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_of_two_who_open_the_same_link_at_once_one_joins():
    cast = make_cast()
    row, token = invited(cast)
    told: list[str] = []
    gate = threading.Barrier(2)

    def try_it(password: str) -> None:
        gate.wait()
        try:
            join(cast, row, token, password=password)
            told.append("joined")
        except NotVisibleError:
            told.append("none")
        finally:
            connections.close_all()

    threads = [threading.Thread(target=try_it, args=(f"beside the water {one}",)) for one in "ab"]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(told) == ["joined", "none"]
    with firm_scope(cast.firm.pk):
        assert Membership.objects.filter(user__email=NEW).count() == 1
