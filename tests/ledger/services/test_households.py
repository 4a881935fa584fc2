"""Household files into the book and out again: whole, exact, and never twice."""

from __future__ import annotations

import copy
import json
from datetime import date
from typing import Any

import pytest
from django.db import connections

from config.models import AuditEvent
from config.problems import BadInput
from ledger import models as rows
from ledger.mapping import household_value
from ledger.services.households import Loaded, load_households
from planning.access import Access, NotVisibleError
from planning.core.household_file import household_from_json, household_to_json
from planning.models import Household, HouseholdVersion, Member, PlanVersion, PrimeRate
from planning.services.firms import create_firm
from tests.cast import SAMPLES, Cast, household_file, make_cast

FILES = sorted(SAMPLES.glob("*.json"))
Data = dict[str, Any]


@pytest.fixture
def access(db: None) -> Access:
    return Access.system(create_firm(name="Lockkeepers").pk, "test")


def sample(name: str = "papers") -> Data:
    return json.loads((SAMPLES / f"{name}.json").read_text("utf-8"))


def load(access: Access, data: Data, reason: str = "") -> Loaded:
    content = json.dumps(data).encode()
    (loaded,) = load_households(access=access, files=[("sample.json", content)], reason=reason)
    return loaded


def dumped(access: Access, ref: str) -> dict[str, object]:
    with access.opened():
        return household_to_json(household_value(access.household(ref)))


def rows_in_book(access: Access) -> dict[str, int]:
    models = (
        *(Household, HouseholdVersion, Member, PlanVersion, PrimeRate, AuditEvent),
        *(rows.SourceFile, rows.Statement, rows.StatementEntry, rows.DrawUse, rows.UseSplit),
    )
    with access.opened():
        return {model.__name__: model.objects.count() for model in models}


def test_there_are_samples():
    assert len(FILES) >= 10


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_what_goes_in_comes_out_to_the_last_digit(access: Access, path: Any):
    data = json.loads(path.read_text("utf-8"))
    value = household_from_json(data, path.name)
    loaded = load(access, data)
    assert loaded.created
    with access.opened():
        assert household_value(access.household(value.ref)) == value
    assert dumped(access, value.ref) == household_to_json(value)
    again = load(access, dumped(access, value.ref))
    assert not again.changed


def test_odd_values_come_out_as_they_went_in(access: Access):
    data = sample()
    data["facility"]["revolving_cap"] = "0.6500"
    data["members"][0]["born"] = None
    data["lines"][0]["owners_explained"] = "À demander « plus tard »; it's 100 % fine"
    data["household"]["name"] = "Ô'Neil; DROP TABLE"
    data["plan"]["opening"] = dict(reversed(data["plan"]["opening"].items()))
    value = household_from_json(data, "x")
    load(access, data)
    with access.opened():
        found = household_value(access.household(value.ref))
    assert found == value
    assert json.dumps(household_to_json(found)) == json.dumps(household_to_json(value))


def test_the_same_file_twice_changes_nothing(access: Access):
    data = sample()
    load(access, data)
    before = rows_in_book(access)
    again = load(access, data)
    assert (again.created, again.changed, again.changes) == (False, False, ())
    assert rows_in_book(access) == before


def test_the_same_facts_laid_out_otherwise_change_nothing(access: Access):
    data = sample()
    load(access, data)
    before = rows_in_book(access)
    load_households(
        access=access, files=[("other.json", json.dumps(data, indent=4, sort_keys=True).encode())]
    )
    assert rows_in_book(access) == before


def test_a_corrected_statement_is_a_new_revision(access: Access):
    data = sample()
    load(access, data)
    changed = copy.deepcopy(data)
    changed["statements"][3]["closing"] = "123.45"
    loaded = load(access, changed, "the bank corrected it")
    assert loaded.changes == ("1 statement revised",)
    assert loaded.earliest == date.fromisoformat(data["statements"][3]["starts"])
    with access.opened():
        first, second = rows.Statement.objects.filter(
            starts=data["statements"][3]["starts"],
            account__ref=data["statements"][3]["account"],
        ).order_by("revision")
        assert (first.revision, first.supersedes_id) == (1, None)
        assert (second.revision, second.supersedes_id) == (2, first.pk)
        assert second.reason == "the bank corrected it"
        assert second.closing_cents == 12345
        assert first.closing_cents != 12345
        assert second.source_file.name == "sample.json"
    assert dumped(access, loaded.ref) == household_to_json(household_from_json(changed, "x"))


def test_a_statement_taken_out_and_put_back_is_two_more_revisions(access: Access):
    data = sample()
    load(access, data)
    shorter = copy.deepcopy(data)
    gone = shorter["statements"].pop()
    dropped = {one["id"] for one in gone["entries"]}
    shorter["uses"] = [one for one in shorter["uses"] if one["draw"] not in dropped]
    loaded = load(access, shorter)
    assert "1 statement withdrawn" in loaded.changes
    assert dumped(access, loaded.ref) == household_to_json(household_from_json(shorter, "x"))
    load(access, data)
    with access.opened():
        revisions = rows.Statement.objects.filter(
            starts=gone["starts"], account__ref=gone["account"]
        ).order_by("revision")
        assert [one.withdrawn for one in revisions] == [False, True, False]
    assert dumped(access, loaded.ref) == household_to_json(household_from_json(data, "x"))


def test_a_later_decision_supersedes_and_one_taken_back_withdraws(access: Access):
    data = sample()
    load(access, data)
    changed = copy.deepcopy(data)
    changed["uses"][0]["splits"] = []
    taken_back = changed["uses"].pop()
    loaded = load(access, changed)
    assert loaded.changes == ("1 use revised", "1 use withdrawn")
    with access.opened():
        decisions = rows.DrawUse.objects.filter(draw=taken_back["draw"]).order_by("revision")
        assert [one.withdrawn for one in decisions] == [False, True]
        assert rows.DrawUse.objects.filter(draw=data["uses"][0]["draw"]).count() == 2
    assert dumped(access, loaded.ref) == household_to_json(household_from_json(changed, "x"))


def test_a_changed_plan_is_a_new_version_and_the_old_one_stays(access: Access):
    data = sample()
    load(access, data)
    changed = copy.deepcopy(data)
    changed["plan"]["refund"] = "keep" if data["plan"]["refund"] != "keep" else "prepay"
    loaded = load(access, changed)
    assert loaded.changes == ("plan version 2",)
    changed["plan"] = None
    assert load(access, changed).changes == ("plan version 3",)
    with access.opened():
        inputs = list(PlanVersion.objects.order_by("number").values_list("inputs", flat=True))
    assert [bool(text) for text in inputs] == [True, True, False]
    assert json.loads(inputs[0])["refund"] == data["plan"]["refund"]
    assert dumped(access, loaded.ref)["plan"] is None


def test_a_changed_account_is_a_new_version_of_the_household(access: Access):
    data = sample()
    load(access, data)
    changed = copy.deepcopy(data)
    changed["facility"]["lender_value"] = "1000000.00"
    loaded = load(access, changed)
    assert loaded.changes == ("version 2",)
    with access.opened():
        assert HouseholdVersion.objects.count() == 2
    assert dumped(access, loaded.ref) == household_to_json(household_from_json(changed, "x"))


def test_prime_moves_by_revision(access: Access):
    data = sample()
    load(access, data)
    changed = copy.deepcopy(data)
    changed["prime"][0][1] = "0.0777"
    changed["prime"].append(["2030-01-01", "0.0250"])
    assert load(access, changed).changes == ("prime on 2 dates",)
    del changed["prime"][-1]
    assert load(access, changed).changes == ("prime on 1 date",)
    assert dumped(access, data["household"]["ref"])["prime"] == changed["prime"]
    with access.opened():
        assert list(
            PrimeRate.objects.filter(starts="2030-01-01").order_by("revision").values_list("rate")
        )[-1] == (None,)


def test_the_trail_says_what_was_done(access: Access):
    load(access, sample(), "first load")
    with access.opened():
        last = AuditEvent.objects.order_by("-number").first()
    assert (last.action, last.channel, last.actor) == ("household.load", "command", "test")
    assert last.detail["reason"] == "first load"
    assert "created" in last.detail["changes"]


def test_one_bad_file_stops_them_all_with_every_problem(access: Access):
    bad, worse = sample(), sample()
    bad["household"]["ref"] = "HH-BAD"
    bad["facility"]["lender_value"] = 5
    worse["household"]["ref"] = "HH-WORSE"
    worse["statements"][0]["opening"] = "1e3"
    worse["colour"] = "green"
    before = rows_in_book(access)
    with pytest.raises(BadInput) as refused:
        load_households(
            access=access,
            files=[
                ("good.json", json.dumps(sample()).encode()),
                ("bad.json", json.dumps(bad).encode()),
                ("worse.json", json.dumps(worse).encode()),
                ("latin.json", "é".encode("latin-1")),
            ],
        )
    places = {(one.file, one.where) for one in refused.value.problems}
    assert {
        ("bad.json", "facility.lender_value"),
        ("worse.json", "colour"),
        ("worse.json", "statements[0].opening"),
        ("latin.json", "byte 0"),
    } <= places
    assert rows_in_book(access) == before


def test_two_files_of_one_household_are_refused(access: Access):
    content = json.dumps(sample()).encode()
    with pytest.raises(BadInput, match="also the household of"):
        load_households(access=access, files=[("a.json", content), ("b.json", content)])


def test_a_failure_half_way_leaves_nothing(access: Access, monkeypatch: pytest.MonkeyPatch):
    from config import audit

    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("the lights went out")

    before = rows_in_book(access)
    monkeypatch.setattr(audit, "record", fail)
    with pytest.raises(RuntimeError, match="lights"):
        load(access, sample())
    assert rows_in_book(access) == before


def test_the_book_as_it_was_known_then(access: Access):
    data = sample()
    load(access, data)
    with connections["default"].cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        (moment,) = cursor.fetchone()
    changed = copy.deepcopy(data)
    changed["statements"][3]["closing"] = "123.45"
    changed["uses"].pop()
    changed["prime"].append(["2030-01-01", "0.0250"])
    changed["plan"] = None
    changed["facility"]["lender_value"] = "1000000.00"
    load(access, changed)
    with access.opened():
        row = access.household(data["household"]["ref"])
        assert household_value(row, moment) == household_from_json(data, "x")
        assert household_value(row) == household_from_json(changed, "x")


def test_an_advisor_loads_into_their_own_book_only(db: None):
    cast: Cast = make_cast()
    access = cast.access("advisor")
    mine = household_file("HH-1", "advisor@lockkeepers.example", name="Renamed")
    (loaded,) = load_households(access=access, files=[("mine.json", mine)])
    assert loaded.changes == ("name",)
    with cast.system.opened():
        trail = AuditEvent.objects.order_by("-number").first()
    assert trail.detail["moved"] == {"name": [cast.household.name, "Renamed"]}
    assert trail.by_id == cast.advisor.pk
    for ref, email in (("HH-2", "colleague@lockkeepers.example"), ("HH-3", None)):
        other = household_file(ref, email, name="Taken")
        with pytest.raises(NotVisibleError):
            load_households(access=access, files=[("other.json", other)])
    with cast.system.opened():
        names = dict(Household.objects.values_list("ref", "name"))
    assert "Taken" not in names.values()
    assert set(names) == {"HH-1", "HH-2"}


def test_an_advisor_who_joins_later_finds_their_households(access: Access):
    from planning.services.firms import add_person

    household = household_file("HH-7", "Late@Lockkeepers.example")
    load_households(access=access, files=[("late.json", household)])
    member = add_person(access=access, email="late@lockkeepers.example", role="advisor")
    with access.opened():
        assert access.household("HH-7").advisor_id == member.pk
    again = load_households(access=access, files=[("late.json", household)])
    assert not again[0].changed


def test_suitability_and_gains_come_back_as_they_were_and_a_new_record_is_a_version(access):
    data = sample()
    data["members"][0]["gains"] = [{"on": "2025-03-02", "amount": "0.01"}]
    data["suitability"] = {
        "assessments": [
            {"on": "2025-01-05", "net_worth": "-12.50", "liquid_net_worth": "0.00",
             "gross_income": "90000.00", "other_loans": "1.00", "other_payments": "250.00",
             "knowledge": "low", "risk_tolerance": "high", "horizon_years": 0},
            {"on": "2025-06-05"},
        ],
        "disclosures": ["2025-01-05", "2025-07-01"],
    }  # fmt: skip
    loaded = load(access, data)
    kept = dumped(access, loaded.ref)
    assert kept["suitability"] == data["suitability"]
    assert kept["members"][0]["gains"] == data["members"][0]["gains"]
    assert not load(access, data).changed
    data["suitability"]["disclosures"].append("2025-12-30")
    assert load(access, data).changes == ("version 2",)
    assert dumped(access, loaded.ref)["suitability"] == data["suitability"]
    del data["suitability"]
    load(access, data)
    assert "suitability" not in dumped(access, loaded.ref)
