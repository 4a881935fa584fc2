"""Papers handed in and taken back: whole or not at all, once a firm, never lost."""

from __future__ import annotations

import json

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection

from config.models import AuditEvent
from config.problems import BadInput
from ledger import models as rows
from ledger.core.paper_kinds import MOST_BYTES
from ledger.mapping import household_value
from ledger.selectors.uses import draw_to_decide, draws_on_file, paper_with_bytes
from ledger.services.papers import MOST_FILES, attach_evidence, withdraw_evidence
from ledger.services.uses import decide_use
from planning.access import Access, NotVisibleError
from planning.core.household_file import household_to_json
from planning.core.types import Evidence, Split
from tests import papers
from tests.cast import Cast, make_cast

MARCH = "line-draw-2025-03-01-1"


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast("papers")


def attach(access: Access, *contents: bytes, **more: str):
    files = [(f"paper-{number}.pdf", content) for number, content in enumerate(contents)]
    return attach_evidence(access=access, ref="HH-1", files=files, draw=MARCH, **more)


def counted(access: Access) -> tuple[int, int, int]:
    with Access.system(access.firm_id, "test").opened():
        models = (rows.EvidenceContent, rows.EvidencePaper, AuditEvent)
        return tuple(model.objects.count() for model in models)


def dumped(access: Access) -> bytes:
    with access.opened():
        return json.dumps(household_to_json(household_value(access.household("HH-1")))).encode()


def test_a_paper_is_kept_as_it_came_and_named_by_its_bytes(cast: Cast):
    access = cast.access("assistant")
    before = dumped(access)
    (kept,) = attach(access, papers.TEXT)
    assert kept.ref == f"paper-{kept.content.sha256[:12]}"
    assert (kept.content.kind, kept.name, kept.by) == ("text", "paper-0.pdf", cast.assistant)
    assert dumped(access) == before, "a paper alone changes no fact"
    with access.opened():
        found = paper_with_bytes(access, "HH-1", kept.pk)
        assert bytes(found.content.content) == papers.TEXT
        assert [one.ref for one in draw_to_decide(access, "HH-1", MARCH).papers] == [kept.ref]
        assert [one.papers for one in draws_on_file(access, "HH-1")[1]] == [0, 1, 0, 0, 0, 0, 0]


def test_the_same_paper_again_is_the_same_row(cast: Cast):
    access = cast.access("advisor")
    first = attach(access, papers.TEXT, papers.TEXT)
    before = counted(access)
    assert [one.pk for one in attach(access, papers.TEXT)] == [first[0].pk]
    assert len(first) == 1
    assert counted(access) == before


def test_bytes_are_kept_once_a_firm_and_never_shared_between_firms(cast: Cast):
    ours, colleague, stranger = (cast.access(who) for who in ("advisor", "colleague", "stranger"))
    (mine,) = attach(ours, papers.TEXT)
    (theirs,) = attach_evidence(access=colleague, ref="HH-2", files=[("a", papers.TEXT)])
    (other,) = attach(stranger, papers.TEXT)
    assert mine.content_id == theirs.content_id != other.content_id
    with cast.system.opened():
        assert rows.EvidenceContent.objects.count() == 1
    with ours.opened(), pytest.raises(NotVisibleError):
        paper_with_bytes(ours, "HH-1", theirs.pk)
    with ours.opened(), pytest.raises(NotVisibleError):
        paper_with_bytes(ours, "HH-2", theirs.pk)
    with ours.opened(), pytest.raises(NotVisibleError):
        paper_with_bytes(ours, "HH-1", other.pk)
    with stranger.opened():
        assert paper_with_bytes(stranger, "HH-1", other.pk).content_id == other.content_id


@pytest.mark.parametrize(
    "contents",
    [
        (),
        (papers.HTML,),
        (papers.TEXT, papers.SVG),
        (papers.image(), papers.image() + papers.HTML),
        (b"a" * (MOST_BYTES + 1),),
        (papers.TEXT,) * (MOST_FILES + 1),
    ],
)
def test_one_bad_paper_and_none_is_kept(cast: Cast, contents: tuple[bytes, ...]):
    access = cast.access("advisor")
    before = counted(access)
    with pytest.raises(BadInput):
        attach(access, *contents)
    assert counted(access) == before
    assert attach(access, papers.TEXT)


def test_every_bad_paper_is_told_at_once(cast: Cast):
    with pytest.raises(BadInput) as told:
        attach(cast.access("advisor"), papers.HTML, papers.TEXT, papers.SVG)
    assert [one.file for one in told.value.problems] == ["paper-0.pdf", "paper-2.pdf"]


@pytest.mark.parametrize("name", ["a\nb", "x" * 201])
def test_a_name_no_household_file_could_hold_is_refused(cast: Cast, name: str):
    with pytest.raises(BadInput):
        attach(cast.access("advisor"), papers.TEXT, evidence=name)
    assert attach(cast.access("advisor"), papers.TEXT, evidence=name[:1])


@pytest.mark.parametrize("who", ["client", "accountant"])
def test_who_may_not_hand_in_or_read(cast: Cast, who: str):
    (kept,) = attach(cast.access("advisor"), papers.TEXT)
    with pytest.raises(PermissionDenied):
        attach(cast.access(who), papers.TEXT)
    with pytest.raises(PermissionDenied), cast.access(who).opened():
        paper_with_bytes(cast.access(who), "HH-1", kept.pk)


def test_an_assistant_hands_in_but_takes_nothing_back(cast: Cast):
    (kept,) = attach(cast.access("assistant"), papers.TEXT)
    with pytest.raises(PermissionDenied):
        withdraw_evidence(
            access=cast.access("assistant"), ref="HH-1", paper_id=kept.pk, reason="no"
        )


def test_a_paper_taken_back_takes_its_support_along_and_stays_on_record(cast: Cast):
    access = cast.access("advisor")
    (kept,) = attach(access, papers.TEXT, evidence="confirm-march")
    splits = (Split(82868, "income-investment", "inv", None, (Evidence("confirm-march", None),)),)
    decide_use(access=access, ref="HH-1", draw=MARCH, splits=splits, reason="confirmed")
    gone = withdraw_evidence(access=access, ref="HH-1", paper_id=kept.pk, reason="not this trade")
    assert (gone.withdrawn, gone.supersedes_id) == (True, kept.pk)
    with access.opened():
        found = draw_to_decide(access, "HH-1", MARCH)
        assert [one.revision for one in found.decisions] == [3, 2, 1]
        assert found.splits[0].evidence == ()
        assert found.decisions[0].reason == "confirm-march: not this trade"
        assert found.on_file.traced.classes == (0, 82868, 0)
        assert (found.papers, [one.ref for one in found.withdrawn]) == ((), ["confirm-march"])
        assert bytes(paper_with_bytes(access, "HH-1", kept.pk).content.content) == papers.TEXT
    before = counted(access)
    for paper_id in (kept.pk, gone.pk):
        same = withdraw_evidence(access=access, ref="HH-1", paper_id=paper_id, reason="again")
        assert same.pk == gone.pk
    assert counted(access) == before
    (again,) = attach(access, papers.TEXT, evidence="confirm-march")
    assert (again.revision, again.withdrawn) == (3, False)


def test_a_decision_stands_while_another_paper_of_the_name_is_left(cast: Cast):
    access = cast.access("advisor")
    one, two = attach(access, papers.TEXT, papers.image(), evidence="confirm-march")
    splits = (Split(82868, "income-investment", "inv", None, (Evidence("confirm-march", None),)),)
    decide_use(access=access, ref="HH-1", draw=MARCH, splits=splits, reason="confirmed")
    withdraw_evidence(access=access, ref="HH-1", paper_id=one.pk, reason="blurred")
    with access.opened():
        assert draw_to_decide(access, "HH-1", MARCH).splits == splits
    withdraw_evidence(access=access, ref="HH-1", paper_id=two.pk, reason="another trade")
    with access.opened():
        assert draw_to_decide(access, "HH-1", MARCH).splits[0].evidence == ()


def test_taking_back_needs_a_reason_and_a_paper_in_view(cast: Cast):
    (kept,) = attach(cast.access("advisor"), papers.TEXT)
    with pytest.raises(ValueError, match="reason"):
        withdraw_evidence(access=cast.access("advisor"), ref="HH-1", paper_id=kept.pk, reason=" ")
    for who, ref in (("stranger", "HH-1"), ("colleague", "HH-2"), ("colleague", "HH-1")):
        with pytest.raises(NotVisibleError):
            withdraw_evidence(access=cast.access(who), ref=ref, paper_id=kept.pk, reason="mine")


def test_the_application_may_not_change_a_paper(cast: Cast):
    (kept,) = attach(cast.access("advisor"), papers.TEXT)
    for table in ("ledger_evidencepaper", "ledger_evidencecontent"):
        with cast.system.opened(), connection.cursor() as cursor:
            cursor.execute(
                "SELECT has_table_privilege(current_user, %s, 'UPDATE'),"
                " has_table_privilege(current_user, %s, 'DELETE')",
                [table, table],
            )
            assert cursor.fetchone() == (False, False)
    assert kept.pk
