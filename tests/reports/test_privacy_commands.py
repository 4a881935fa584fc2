"""`who_saw`, `export_person`, `retention`: what they tell, write, remove and leave alone."""

from __future__ import annotations

import json
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import call_command
from django.test import Client
from django.utils import timezone

from config.models import AuditEvent, RateCount
from planning.models import Household, Invitation, Sighting
from planning.services import invitations
from tests.cast import make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast(db: None):
    """The cast, after the advisor and a stranger looked at their households."""
    found = make_cast()
    for user in (found.advisor, found.stranger):
        client = Client()
        client.force_login(user)
        assert client.get("/households/HH-1/").status_code == 200
    return found


def said(*words, **more) -> str:
    out = StringIO()
    call_command(*words, stdout=out, stderr=StringIO(), **more)
    return out.getvalue()


def test_who_saw_names_ours_and_not_the_other_firms(cast):
    rows = json.loads(said("who_saw", "HH-1", "--firm", "Lockkeepers", "--json"))
    assert [(one["name"], one["role"], one["route"]) for one in rows] == [
        ("Advisor", "advisor", "household")
    ]
    assert "1 sightings" in said("who_saw", "HH-1", "--firm", "Lockkeepers")
    later = str(timezone.now().date() + timedelta(days=1))
    asked = ("who_saw", "HH-1", "--firm", "Lockkeepers", "--from", later, "--json")
    assert json.loads(said(*asked)) == []


@pytest.mark.parametrize(
    "words",
    [
        ["HH-1"],
        ["HH-77"],
        ["HH-2", "--from", "soon"],
        ["HH-2", "--from", "2026-02-01", "--to", "2026-01-01"],
    ],
)
def test_who_saw_refuses_what_it_cannot_answer(cast, words):
    with pytest.raises(SystemExit) as ended:
        said("who_saw", *words)
    assert ended.value.code == 2


def test_one_persons_data_is_written_and_noted(cast, tmp_path):
    folder = tmp_path / "client"
    said("export_person", cast.client.email, "--out", str(folder), "--firm", "Lockkeepers")
    held = json.loads((folder / "person.json").read_text("utf-8"))
    assert held["households"] == ["HH-1"]
    assert "planning.Membership" in held["tables"]
    assert json.loads((folder / "household-1.json").read_text())["household"]["ref"] == "HH-1"
    text = "".join(one.read_text("utf-8") for one in folder.iterdir())
    for foreign in (cast.stranger.email, cast.colleague.email, cast.client.password):
        assert foreign not in text
    with cast.system.opened():
        assert AuditEvent.objects.filter(action="person.export").count() == 1


def test_an_export_of_nobody_or_over_files_writes_nothing(cast, tmp_path):
    (tmp_path / "kept.txt").write_text("kept")
    for email, folder in (
        (cast.stranger.email, tmp_path / "new"),
        ("nobody@lockkeepers.example", tmp_path / "new"),
        (cast.client.email, tmp_path),
    ):
        with pytest.raises(SystemExit) as ended:
            said("export_person", email, "--out", str(folder), "--firm", "Lockkeepers")
        assert ended.value.code == 2
    assert [one.name for one in tmp_path.iterdir()] == ["kept.txt"]
    with cast.system.opened():
        assert not AuditEvent.objects.filter(action="person.export").exists()


def test_retention_reports_first_and_removes_only_when_told(cast):
    long_ago = timezone.now() - timedelta(days=4 * 366)
    row, _ = invitations.invite(access=cast.system, email="x@y.example", role="advisor")
    fresh, _ = invitations.invite(access=cast.system, email="z@y.example", role="advisor")
    RateCount.objects.create(key="k" * 64, window_ends=long_ago, count=1)
    with cast.system.opened():
        Invitation.objects.filter(pk=row.pk).update(revoked_at=long_ago)
        old = Sighting.objects.get()
        old.pk, old.hour, old.at = None, long_ago, long_ago
        old.id = cast.firm.pk
        old.save(force_insert=True)
        trail = AuditEvent.objects.count()
    expected = {"invitations": 1, "sightings": 1, "rate counts": 1}
    for words in ([], ["--apply"]):
        told = json.loads(said("retention", "--json", *words))
        assert {name: count for name, count in told["rows"].items() if count} == expected
    assert not any(json.loads(said("retention", "--json"))["rows"].values())
    with cast.system.opened():
        assert list(Invitation.objects.all()) == [fresh]
        assert Sighting.objects.count() == 1
        assert Household.objects.count() == 2
        assert AuditEvent.objects.count() == trail + 1


def test_a_sighting_cannot_be_changed(cast):
    from django.db.utils import ProgrammingError

    with pytest.raises(ProgrammingError), cast.system.opened():
        Sighting.objects.update(role="client")
