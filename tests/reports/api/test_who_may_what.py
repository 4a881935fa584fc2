"""Role, scope and whose: every resource against one table; nothing of another firm anywhere."""

from __future__ import annotations

import json
from typing import Any

import pytest

from config.database import firm_scope
from ledger.models import Finding
from planning.access import ACTIONS
from planning.api.scopes import SCOPES
from tests.reports import sample
from tests.reports.api.conftest import Program, program_of
from tests.reports.conftest import CANARY, CANARY_REF, Book, load

STAFF = ("principal", "advisor", "assistant")
LEADS = ("principal", "advisor")
ALL = (*STAFF, "client")
COLLEAGUES = "HH-COLLEAGUE"
# Address, method, scope, roles. The roles are written here, not read from the code.
TABLE: tuple[tuple[str, str, str, tuple[str, ...]], ...] = (
    ("me/", "GET", "", ALL),
    ("tax/", "POST", "read:plan", STAFF),
    ("households/", "GET", "read:household", ALL),
    ("households/{ref}/", "GET", "read:household", STAFF),
    ("households/{ref}/", "PUT", "write:household", LEADS),
    ("households/{ref}/statements/", "GET", "read:ledger", STAFF),
    ("households/{ref}/statements/", "POST", "write:statement", STAFF),
    ("households/{ref}/draws/", "GET", "read:ledger", STAFF),
    ("households/{ref}/draws/{entry}/", "GET", "read:ledger", STAFF),
    ("households/{ref}/draws/{entry}/uses/", "POST", "write:use", LEADS),
    ("households/{ref}/papers/", "GET", "read:ledger", STAFF),
    ("households/{ref}/papers/", "POST", "write:use", STAFF),
    ("households/{ref}/papers/{paper_id}/file/", "GET", "read:ledger", STAFF),
    ("households/{ref}/closes/", "POST", "write:close", LEADS),
    ("households/{ref}/months/", "GET", "read:ledger", ALL),
    ("households/{ref}/months/{month}/", "GET", "read:ledger", ALL),
    ("households/{ref}/packets/", "GET", "read:packet", ALL),
    ("households/{ref}/packets/", "POST", "write:packet", LEADS),
    ("households/{ref}/packets/{packet_id}/", "GET", "read:packet", ALL),
    ("households/{ref}/packets/{packet_id}/file/", "GET", "read:packet", ALL),
    ("households/{ref}/plan/versions/", "GET", "read:plan", STAFF),
    ("households/{ref}/plan/versions/", "POST", "write:plan", LEADS),
    ("households/{ref}/plan/versions/{number}/", "GET", "read:plan", STAFF),
    ("households/{ref}/plan/what-if/", "POST", "read:plan", STAFF),
    ("closes/", "GET", "read:ledger", STAFF),
    ("closes/", "POST", "write:close", LEADS),
    ("runs/", "GET", "read:ledger", STAFF),
    ("findings/", "GET", "read:finding", STAFF),
    ("findings/{finding_id}/", "GET", "read:finding", STAFF),
    ("findings/{finding_id}/acts/", "POST", "write:finding", STAFF),
)
NOBODY = "6f1f0f0e-0000-4000-8000-000000000000"


def filled(path: str, ref: str, finding: str) -> str:
    """An address with its parts."""
    return path.format(
        ref=ref,
        entry="no-such-draw",
        paper_id=NOBODY,
        month="2026-08",
        packet_id=NOBODY,
        number=1,
        finding_id=finding,
    )


def send(program: Program, method: str, path: str) -> Any:
    """One request; a body that is refused as such, so that nothing is written."""
    if method == "GET":
        return program.get(path)
    return program.send(method, path, {"unknown": 1}, If_Match='"x"')


@pytest.fixture(scope="module")
def whole(shared_book: Book) -> dict[str, Any]:
    """The book with a colleague's household; a program of each role, and findings of each firm."""
    book, file = shared_book, sample.file()
    file["household"] |= {"ref": COLLEAGUES, "advisor": None}
    load(book.firm_id, file)
    programs = {role: program_of(book.people[role]) for role in (*ALL, "stranger")}
    findings = {}
    for name, firm in (("own", book.firm_id), ("other", book.other_id)):
        with firm_scope(firm):
            findings[name] = str(Finding.objects.order_by("pk")[0].pk)
    return {"programs": programs, "findings": findings, "book": book}


def test_the_table_names_every_address_and_method():
    from reports.api import urls

    there = set()
    for one in urls.urlpatterns:
        view = getattr(one.callback, "cls", None)
        if view is not None and view.__name__ != "Nothing":
            path = str(one.pattern)
            for kind in ("str:", "uuid:", "entry:", "int:"):
                path = path.replace(f"<{kind}", "{")
            path = path.replace(">", "}")
            there |= {(path, method, right[0]) for method, right in view.rights.items()}
    assert there == {row[:3] for row in TABLE}
    assert {row[2] for row in TABLE} - {""} == set(SCOPES)
    assert {action for actions in SCOPES.values() for action in actions} <= set(ACTIONS)


def test_each_role_does_what_the_table_says_and_no_more(whole: dict[str, Any]):
    finding = whole["findings"]["own"]
    for path, method, _, roles in TABLE:
        for role in ALL:
            answer = send(whole["programs"][role], method, filled(path, sample.REF, finding))
            if role in roles:
                assert answer.status_code not in (401, 403, 405, 500), (path, method, role)
            else:
                assert answer.status_code == 403, (path, method, role, answer.content)


def test_what_is_not_in_view_answers_as_what_is_not_there(whole: dict[str, Any]):
    advisor = whole["programs"]["advisor"]
    for path, method, _, roles in TABLE:
        if "advisor" not in roles or "{" not in path:
            continue
        answers = [
            send(advisor, method, filled(path, ref, finding))
            for ref, finding in (
                ("HH-NONE", NOBODY),
                (COLLEAGUES, whole["findings"]["other"]),
                (CANARY_REF, whole["findings"]["other"]),
            )
        ]
        if method == "PUT":  # the file's fault is told before the household is looked for
            assert {one.status_code for one in answers} == {422}
            continue
        assert [one.status_code for one in answers] == [404] * 3, (path, method)
        assert len({one.content for one in answers}) == 1, (path, method)


def test_a_sound_file_for_what_is_not_in_view_is_not_found_either(whole: dict[str, Any]):
    file = sample.file()
    file["household"]["ref"] = COLLEAGUES
    for headers in ({"If_Match": "*"}, {"If_None_Match": "*"}):
        answer = whole["programs"]["advisor"].send(
            "PUT", f"households/{COLLEAGUES}/", file, **headers
        )
        assert answer.status_code == 404, answer.content


def test_a_token_does_nothing_without_the_scope(whole: dict[str, Any]):
    user = whole["book"].people["principal"]
    for scope in SCOPES:
        program = program_of(user, (scope,))
        for path, method, needed, _ in TABLE:
            if needed in ("", scope):
                continue
            finding = whole["findings"]["own"]
            answer = send(program, method, filled(path, sample.REF, finding))
            assert answer.status_code == 403, (scope, path, method)
            assert needed in answer.json()["detail"]


def test_without_a_token_every_address_asks_for_one(whole: dict[str, Any]):
    nobody = Program("", whole["programs"]["advisor"].client)
    for path, method, *_ in (*TABLE, ("nowhere/", "GET"), ("openapi.json", "GET")):
        answer = send(nobody, method, filled(path, sample.REF, whole["findings"]["own"]))
        assert answer.status_code == 401, (path, method)


def test_no_answer_holds_anything_of_the_other_firm(whole: dict[str, Any]):
    other = whole["findings"]["other"]
    signs = (CANARY, CANARY_REF, other, str(whole["book"].other_id))
    said = {}
    for who in (*ALL, "stranger"):
        program = whole["programs"][who]
        texts = []
        for path, method, *_ in TABLE:
            for ref in (sample.REF, CANARY_REF):
                for finding in whole["findings"].values():
                    answer = send(program, method, filled(path, ref, finding))
                    headers = json.dumps(dict(answer.headers))
                    texts.append(answer.content.decode("utf-8", "replace") + headers)
        said[who] = "\n".join(texts)
    for who in ALL:
        assert [one for one in signs if one in said[who]] == [], who
    assert [one for one in signs[:3] if one not in said["stranger"]] == []
