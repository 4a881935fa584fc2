"""Reading and writing through the interface, end to end on a closed book."""

from __future__ import annotations

import base64
import json
from datetime import timedelta

import pytest
from django.utils import timezone

from config.models import AuditEvent
from ledger.models import Finding
from planning.access import Access
from planning.models import ApiToken, PlanVersion
from planning.services.tokens import make_token, revoke_token
from reports.services.packets import draw_packet
from tests.reports import sample
from tests.reports.api.conftest import Program, program_of
from tests.reports.conftest import Book

HH = f"households/{sample.REF}/"
LISTS = (
    *("households/", "findings/", "closes/", "runs/"),
    *(f"{HH}{one}/" for one in ("statements", "draws", "papers", "months", "packets")),
    f"{HH}plan/versions/",
)


def test_every_list_is_read(advisor: Program):
    for path in LISTS:
        response = advisor.get(path)
        assert response.status_code == 200, (path, response.content)
        assert set(response.json()) == {"items", "next"}
    for path in ("households/", "findings/", f"{HH}statements/", f"{HH}draws/", f"{HH}months/"):
        assert advisor.get(path).json()["items"], path


def test_one_of_everything_is_read(advisor: Program):
    finding = advisor.get("findings/").json()["items"][0]
    draw = advisor.get(f"{HH}draws/").json()["items"][0]
    assert draw["amount"][-3] == "."
    paths = (
        "me/",
        HH,
        f"{HH}months/2026-08/",
        f"{HH}plan/versions/1/",
        f"{HH}draws/{draw['id']}/",
        f"findings/{finding['id']}/",
    )
    for path in paths:
        assert advisor.get(path).status_code == 200, path
    assert advisor.get(f"{HH}months/2026-12/").status_code == 404
    assert advisor.get(f"{HH}plan/versions/99/").status_code == 404


def test_a_tag_spares_reading_again(advisor: Program):
    first = advisor.get("households/")
    again = advisor.get("households/", If_None_Match=first["ETag"])
    assert (again.status_code, again.content) == (304, b"")
    assert advisor.get("households/?limit=1&q=none", If_None_Match=first["ETag"]).status_code == 200
    assert first["Cache-Control"] == "no-store"


def test_a_household_is_changed_only_in_the_state_that_was_read(advisor: Program):
    read = advisor.get(HH)
    body = read.json()
    body["household"]["name"] = "Heron Quay and Daughter"
    assert advisor.send("PUT", HH, body).status_code == 428
    assert advisor.send("PUT", HH, body, If_Match='"another"').status_code == 412
    assert advisor.send("PUT", HH, body, If_None_Match="*").status_code == 412
    done = advisor.send("PUT", HH, body, If_Match=read["ETag"])
    assert done.status_code == 200, done.content
    assert done["ETag"] == advisor.get(HH)["ETag"] != read["ETag"]
    assert advisor.send("PUT", HH, body, If_Match=read["ETag"]).status_code == 412
    body["household"]["ref"] = "HH-ELSE"
    assert advisor.send("PUT", HH, body, If_Match=done["ETag"]).status_code == 422


def test_a_household_is_made_by_its_file(advisor: Program):
    body = sample.file()
    body["household"]["ref"] = "HH-NEW"
    made = advisor.send("PUT", "households/HH-NEW/", body, If_None_Match="*")
    assert made.status_code == 201, made.content
    missing = advisor.send(
        "PUT",
        "households/HH-NEWER/",
        body | {"household": body["household"] | {"ref": "HH-NEWER"}},
        If_Match='"x"',
    )
    assert missing.status_code == 404
    refused = advisor.send("PUT", "households/HH-NEW/", "{}", If_Match=made["ETag"])
    assert refused.status_code == 422
    assert {"place", "message", "remedy"} == set(refused.json()["problems"][0])


def test_a_finding_is_worked_on_once_for_each_key(book: Book, advisor: Program):
    finding = advisor.get("findings/?open=true").json()["items"][0]["id"]
    path, note = f"findings/{finding}/acts/", {"act": "note", "text": "Asked the bank"}
    first = advisor.post(path, note, key="note-1")
    again = advisor.post(path, note, key="note-1")
    assert first.status_code == 200, first.content
    assert (again.content, again["Idempotent-Replay"]) == (first.content, "true")
    assert [one["kind"] for one in again.json()["events"]].count("noted") == 1
    assert advisor.post(path, note | {"text": "Else"}, key="note-1").status_code == 422
    other = program_of(book.people["principal"])
    assert other.post(path, note, key="note-1").status_code == 422
    soon = (timezone.now() + timedelta(days=20)).date().isoformat()
    for act, status in (
        ({"act": "seen"}, 200),
        ({"act": "accept", "reason": "The bank corrects it", "until": soon}, 200),
        ({"act": "accept", "reason": "Too long", "until": "2090-01-01"}, 422),
        ({"act": "accept"}, 422),
        ({"act": "back", "text": "x"}, 422),
        ({"act": "back"}, 200),
        ({"act": "assign", "member": None}, 200),
    ):
        answer = advisor.post(path, act)
        assert answer.status_code == status, (act, answer.content)
    with book.access().opened():
        assert Finding.objects.get(pk=finding).state == "open"
        event = AuditEvent.objects.filter(action="finding.noted").get()
        assert (event.channel, event.by) == ("api", book.people["advisor"])


def test_a_key_is_needed_and_a_refused_request_keeps_none(advisor: Program):
    finding = advisor.get("findings/").json()["items"][0]["id"]
    path = f"findings/{finding}/acts/"
    assert advisor.post(path, {"act": "seen"}, Idempotency_Key="").status_code == 400
    assert advisor.post(path, {"act": "none"}, key="twice").status_code == 422
    assert advisor.post(path, {"act": "seen"}, key="twice").status_code == 200


def test_a_draw_is_decided_and_a_paper_handed_in(advisor: Program):
    draw = next(one for one in advisor.get(f"{HH}draws/").json()["items"] if one["kind"] == "draw")
    paper = base64.b64encode(b"Confirmation of a purchase").decode()
    files = [{"name": "confirmation.txt", "content": paper}]
    kept = advisor.post(f"{HH}papers/", {"files": files, "draw": draw["id"]})
    assert kept.status_code == 201, kept.content
    [stored] = kept.json()
    file = advisor.get(f"{HH}papers/{stored['id']}/file/")
    assert file.content == b"Confirmation of a purchase"
    bad = advisor.post(f"{HH}papers/", {"files": [{"name": "x", "content": "!"}]})
    assert bad.json()["problems"][0]["place"] == "files[0].content"
    path = f"{HH}draws/{draw['id']}/"
    revision = advisor.get(path).json()["revision"]
    body = {
        "splits": [{"amount": draw["amount"], "use": "personal"}],
        "reason": "The owner says so",
        "seen": revision,
    }
    done = advisor.post(f"{path}uses/", body)
    assert done.status_code == 200, done.content
    assert done.json()["decisions"][0]["splits"][0]["amount"] == draw["amount"]
    body["splits"] = []
    assert advisor.post(f"{path}uses/", body).status_code == 409


def test_a_file_that_is_no_statement_is_refused_with_its_problems(advisor: Program):
    content = base64.b64encode(b"no statement at all").decode()
    body = {"files": [{"name": "may.csv", "content": content}], "dry_run": True}
    response = advisor.post(f"{HH}statements/", body)
    assert response.status_code == 422
    assert response.json()["problems"][0]["place"].startswith("may.csv")


def test_a_plan_is_tried_and_kept(book: Book, advisor: Program):
    tried = advisor.post(f"{HH}plan/what-if/", {"once": "5000.00"})
    assert tried.status_code == 200, tried.content
    assert tried.json()["differences"]["mortgage_interest"].startswith("-")
    refused = advisor.post(f"{HH}plan/what-if/", {"once": 5000})
    assert refused.json()["problems"][0]["place"] == "once"
    plan = advisor.get(f"{HH}plan/versions/1/").json()["plan"]
    plan["months"] += 1
    body = {"plan": plan, "reason": "A month more", "based_on": 1}
    saved = advisor.post(f"{HH}plan/versions/", body)
    assert saved.status_code == 201, saved.content
    assert saved.json() == {"number": 2, "written": True}
    plan["months"] += 1
    assert advisor.post(f"{HH}plan/versions/", body).status_code == 409
    with book.access().opened():
        assert PlanVersion.objects.filter(household__ref=sample.REF).count() == 2


def test_a_packet_is_issued_drawn_and_fetched(book: Book, advisor: Program):
    issued = advisor.post(f"{HH}packets/", {"quarter": "2026-Q3"})
    assert issued.status_code == 202, issued.content
    place = issued["Location"].removeprefix("/api/v1/")
    assert advisor.get(place).json()["state"] == "queued"
    assert advisor.get(f"{place}file/").status_code == 404
    with book.access().opened():
        draw_packet(access=book.access(), packet_id=issued.json()["id"])
    assert advisor.get(f"{place}file/").content.startswith(b"%PDF")
    assert advisor.post(f"{HH}packets/", {"quarter": "2026-Q4"}).status_code == 409
    assert advisor.post(f"{HH}packets/", {"quarter": "autumn"}).status_code == 422


def test_months_are_asked_for(book: Book, advisor: Program):
    asked = advisor.post(f"{HH}closes/", {"month": "2026-09", "first": "2026-08"})
    assert asked.status_code == 202, asked.content
    assert [one["state"] for one in asked.json()["months"]] == ["done", "done"]
    assert advisor.post("closes/", {"month": "2026-09"}).status_code == 403
    principal = program_of(book.people["principal"])
    assert principal.post("closes/", {"month": "2026-09"}).status_code == 202
    assert advisor.post(f"{HH}closes/", {"month": "2126-09"}).status_code == 422


def test_tax_is_computed(advisor: Program):
    body = {"province": "ON", "year": 2026, "income": "150000.00", "deduction": "6400.00"}
    answer = advisor.post("tax/", body)
    assert answer.status_code == 200
    assert answer.json()["saving"] > "0.00"
    assert advisor.post("tax/", body | {"unknown": 1}).json()["problems"][0]["place"] == "unknown"


@pytest.mark.parametrize(
    ("method", "path", "body", "status"),
    [
        ("PUT", "runs/", "{}", 405),
        ("POST", "tax/", "{", 400),
        ("POST", "tax/", "[]", 400),
        ("POST", "tax/", '{"year": 1, "year": 2}', 400),
        ("POST", "tax/", '{"year": NaN}', 400),
        ("POST", "tax/", '{"province": "\\ud800"}', 400),
        ("GET", "households/?limit=0", "", 400),
        ("GET", "households/?order=ref", "", 400),
        ("GET", "households/?cursor=eA", "", 400),
        ("GET", "findings/?cursor=WyJ4IiwieSJd", "", 400),
        ("GET", "nowhere/", "", 404),
        ("GET", "households/%00/", "", 404),
        ("GET", "findings/not-an-id/", "", 404),
    ],
)
def test_every_error_is_a_problem(advisor: Program, method: str, path: str, body: str, status: int):
    answer = advisor.get(path) if method == "GET" else advisor.send(method, path, body)
    assert answer.status_code == status, answer.content
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["status"] == status


def test_a_dead_token_is_none(book: Book):
    access = Access.for_user(book.people["advisor"])
    assert access is not None
    row, secret = make_token(access=access, name="a", scopes=["read:household"], days=1)
    program = Program(secret, program_of(book.people["advisor"]).client)
    assert program.get("households/").status_code == 200
    with access.opened():
        token = ApiToken.objects.get(pk=row.pk)
        assert token.last_used_at is not None
        assert secret.startswith("tow_")
        assert secret not in json.dumps([token.digest, token.begins])
    book.people["advisor"].is_active = False
    book.people["advisor"].save()
    answer = program.get("households/")
    assert (answer.status_code, answer["WWW-Authenticate"]) == (401, "Bearer")
    book.people["advisor"].is_active = True
    book.people["advisor"].save()
    assert program.get("households/").status_code == 200
    revoke_token(access=access, token_id=row.pk)
    assert program.get("households/").status_code == 401
    assert Program("tow_none", program.client).get("households/").status_code == 401


def test_a_token_asks_six_hundred_times_a_minute(advisor: Program, monkeypatch: pytest.MonkeyPatch):
    from config.rates import Limit
    from planning.api import resource

    assert (resource.API_TOKEN.tries, resource.API_TOKEN.seconds) == (600, 60)
    monkeypatch.setattr(resource, "API_TOKEN", Limit("interface token", 2, 60))
    answers = [advisor.get("me/").status_code for _ in range(3)]
    assert answers == [200, 200, 429]
    assert advisor.get("me/")["Retry-After"] == "60"
