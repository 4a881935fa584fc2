"""Decisions about draws on the real database: once, kept, told apart, never over another's head."""

from __future__ import annotations

import json
import threading

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, connections, transaction

from config.audit import broken_links
from config.models import AuditEvent
from config.problems import BadInput
from ledger import models as rows
from ledger.core.close import evaluate
from ledger.core.report import report_json
from ledger.mapping import household_value
from ledger.selectors.checks import check_book
from ledger.selectors.uses import draw_to_decide, draws_on_file, effect_of_use
from ledger.services.closing import running
from ledger.services.households import load_households
from ledger.services.uses import DecidedMeanwhileError, decide_use
from planning.access import Access, NotVisibleError
from planning.core.household_file import household_from_json, household_to_json
from planning.core.types import Evidence, Split
from planning.models import Firm
from tests.cast import Cast, make_cast
from tests.ledger.services.closing import book

MARCH = "line-draw-2025-03-01-1"
BOUGHT = (Split(82868, "income-investment", "inv", None, (Evidence("confirm-march", None),)),)
SPENT = (Split(82868, "personal", None, None, ()),)
MONTHS = [f"2025-{number:02d}" for number in range(1, 9)]


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast("papers")


def decide(access: Access, splits: tuple[Split, ...] = BOUGHT, **more: object):
    words: dict[str, object] = {"ref": "HH-1", "draw": MARCH, "reason": "the confirmation came"}
    return decide_use(access=access, splits=splits, **(words | more))


def test_a_decision_is_a_new_revision_and_the_old_one_stays(cast: Cast):
    access = cast.access("advisor")
    row = decide(access, seen=1)
    assert (row.revision, row.reason, row.by) == (2, "the confirmation came", cast.advisor)
    with access.opened():
        found = draw_to_decide(access, "HH-1", MARCH)
        assert [one.revision for one in found.decisions] == [2, 1]
        assert [one.splits[0].evidence for one in found.decisions] == [BOUGHT[0].evidence, ()]
        assert found.splits == BOUGHT
        assert found.on_file.traced.classes == (82868, 0, 0)
        event = AuditEvent.objects.get(action="use.decide")
        assert event.detail["draw"] == MARCH
        assert list(broken_links(access.firm_id)) == []


def test_the_same_decision_twice_is_one(cast: Cast):
    access = cast.access("advisor")
    first, again = decide(access, seen=1), decide(access, seen=1)
    assert again.pk == first.pk
    with access.opened():
        assert rows.DrawUse.objects.filter(draw=MARCH, household=cast.household).count() == 2
        assert AuditEvent.objects.filter(action="use.decide").count() == 1


def test_a_decision_taken_back_leaves_the_file_as_if_never_claimed(cast: Cast):
    access = cast.access("advisor")
    row = decide(access, (), seen=1)
    assert row.withdrawn
    with access.opened():
        value = household_value(access.household("HH-1"))
        assert MARCH not in [one.draw for one in value.uses]
    assert decide(access, BOUGHT, seen=2).revision == 3
    with access.opened():
        order = [one.draw for one in household_value(access.household("HH-1")).uses]
        assert order[1] == MARCH, "a decision keeps its place in the file"


def test_nothing_claimed_where_nothing_was_writes_nothing(cast: Cast):
    access = cast.access("advisor")
    decide(access, (), seen=1)
    before = rows_of(access)
    assert decide(access, (), seen=2).revision == 2
    assert rows_of(access) == before


def test_what_was_decided_meanwhile_is_told(cast: Cast):
    decide(cast.access("owner"), SPENT, seen=1)
    with pytest.raises(DecidedMeanwhileError) as told:
        decide(cast.access("advisor"), BOUGHT, seen=1)
    assert told.value.revision == 2
    assert decide(cast.access("advisor"), SPENT, seen=1).revision == 2


@pytest.mark.parametrize(
    ("more", "error"),
    [
        ({"splits": (Split(82869, "personal", None, None, ()),)}, BadInput),
        ({"splits": (Split(1, "income-investment", "nowhere", None, ()),)}, BadInput),
        ({"draw": "nothing"}, BadInput),
        ({"draw": "line-2025-03-int"}, BadInput),
        ({"reason": "  "}, ValueError),
        ({"ref": "HH-2"}, NotVisibleError),
        ({"ref": "HH-9"}, NotVisibleError),
        ({"seen": 7}, DecidedMeanwhileError),
    ],
)
def test_what_is_refused_writes_nothing(cast: Cast, more: dict[str, object], error: type):
    access = cast.access("advisor")
    before = rows_of(access)
    with pytest.raises(error):
        decide(access, **more)
    assert rows_of(access) == before
    assert decide(access).revision == 2


@pytest.mark.parametrize("who", ["assistant", "client", "accountant"])
def test_who_may_not_decide(cast: Cast, who: str):
    access = cast.access(who)
    with pytest.raises(PermissionDenied):
        decide(access)
    with pytest.raises(PermissionDenied), access.opened():
        effect_of_use(access, "HH-1", MARCH, BOUGHT)


def test_a_stranger_decides_in_their_own_book_alone(cast: Cast):
    stranger = cast.access("stranger")
    assert decide(stranger, SPENT).firm_id == cast.other_firm.pk
    with cast.system.opened():
        assert draw_to_decide(cast.system, "HH-1", MARCH).revision == 1
        with pytest.raises(NotVisibleError):
            draw_to_decide(cast.access("advisor"), "HH-2", MARCH)
        with pytest.raises(NotVisibleError):
            draws_on_file(cast.access("advisor"), str(cast.strangers_household.pk))
        with pytest.raises(NotVisibleError):
            draw_to_decide(cast.system, "HH-1", "no-such-draw")


def rows_of(access: Access) -> tuple[int, ...]:
    models = (rows.DrawUse, rows.UseSplit, rows.EvidenceRef, AuditEvent)
    with Access.system(access.firm_id, "test").opened():
        return tuple(model.objects.count() for model in models)


def test_closes_from_the_draws_month_on_are_done_again_and_agree_with_the_dumped_file(db: None):
    firm_id = book.firm_of("Lantern Ridge", book.sample("papers"))
    book.schedule(firm_id, *MONTHS)
    running.run_household(firm_id=firm_id, household_id=book.household(firm_id))
    access = Access.system(firm_id, "test")
    decide(access, ref="HH-0304")
    marked = {f"{one.month:%Y-%m}": one.stale_reason for one in book.rows(firm_id)}
    assert {month for month, why in marked.items() if why} == set(MONTHS[2:])
    assert marked["2025-03"] == "the confirmation came"
    with access.opened():
        dumped = household_to_json(household_value(access.household("HH-0304")))
    running.run_household(firm_id=firm_id, household_id=book.household(firm_id))
    report = report_json(evaluate(household_from_json(json.loads(json.dumps(dumped)), "dump")))
    latest = {}
    for one in sorted(book.rows(firm_id), key=lambda row: row.version):
        latest[f"{one.month:%Y-%m}"] = one
    assert {month: one.version for month, one in latest.items()} == {
        month: 1 if month < "2025-03" else 2 for month in MONTHS
    }
    for told in report["months"]:
        stored = latest[told["month"]]
        assert stored.input_digest == told["digest"]
        assert stored.result["actual"] == told["actual"]
    assert latest["2025-08"].result["deductions"] == report["deductions"]
    assert latest["2025-08"].result["drift"] == report["drift"]
    with access.opened():
        firm = Firm.objects.get(pk=firm_id)
    assert check_book([firm]).faults == ()


def test_a_file_from_before_takes_the_desks_decision_back_and_keeps_it_on_record(cast: Cast):
    access = cast.access("advisor")
    with access.opened():
        before = json.dumps(household_to_json(household_value(access.household("HH-1")))).encode()
    decide(access)
    load_households(access=cast.system, files=[("old.json", before)])
    with access.opened():
        found = draw_to_decide(access, "HH-1", MARCH)
        assert [one.splits == BOUGHT for one in found.decisions] == [False, True, False]


@pytest.mark.django_db(databases=["default", "owner"], transaction=True)
def test_two_people_at_once_one_wins_and_the_other_is_told():
    cast = make_cast("papers")
    gate = threading.Barrier(2)
    told: list[object] = []

    def work(who: str, splits: tuple[Split, ...]) -> None:
        try:
            access = cast.access(who)
            gate.wait(10)
            told.append(decide(access, splits, seen=1).revision)
        except DecidedMeanwhileError as error:
            told.append(("told", error.revision))
        finally:
            connections["default"].close()

    threads = [
        threading.Thread(target=work, args=pair) for pair in (("owner", SPENT), ("advisor", BOUGHT))
    ]
    for one in threads:
        one.start()
    for one in threads:
        one.join(60)
    assert sorted(told, key=str) == [("told", 2), 2]
    with cast.system.opened():
        assert rows.DrawUse.objects.filter(household=cast.household, draw=MARCH).count() == 2


def test_the_database_refuses_a_second_decision_of_one_number(cast: Cast):
    with cast.system.opened():
        held = rows.DrawUse.objects.get(household=cast.household, draw=MARCH)
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.DrawUse.objects.create(
                firm_id=held.firm_id,
                household=cast.household,
                draw=MARCH,
                revision=1,
                position=0,
            )
