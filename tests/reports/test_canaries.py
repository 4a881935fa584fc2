"""The second firm's names and figures appear nowhere in the first firm's world.

The demo's two firms are made with the real services; then every page that the
first firm's people can reach is opened, link by link, and every packet drawn.
Strings and amounts that exist only in the second firm are searched for in all
of it. The same search over the second firm's own pages must find them, or the
test would prove nothing.
"""

from __future__ import annotations

import json
import re
from collections import deque
from io import StringIO

import pytest
from django.core import mail
from django.core.management import call_command
from django.test import Client
from pypdf import PdfReader

from config.models import User
from planning.access import Access
from reports.demo import book, people
from reports.demo.profiles import FIRST_MONTH, OTHER_PROFILES, PROFILES
from reports.packets.period import read_quarter
from reports.services.packets import QuarterlyRequest, draw_packet, issue_quarterly
from reports.services.proposals import ProposalRequest, issue_proposal

CANARIES = (
    "Quillonmere", "Quillmark", "Umberlode", "Ottoline", "Thessaly", "Oxlade", "QX-90",
    "777,777", "777 777", "888,888", "444,444", "433,333", "355,555",
)  # fmt: skip
OURS = tuple(one for one in PROFILES if one.ref in ("HH-0101", "HH-0103", "HH-0104"))
THROUGH = "2024-09"
LINK = re.compile(r'(?:href|action|src)="(/[^"#]*)')


def found_in(text: str) -> set[str]:
    """The canaries a text holds, whatever kind of space stands in a number."""
    plain = text.replace("\u00a0", " ").replace("\u202f", " ")
    return {one for one in CANARIES if one in plain}


@pytest.fixture
def two_firms(db: None) -> dict[str, Access]:
    """Both demo firms with their first months closed and their packets issued."""
    standing: dict[str, Access] = {}
    for name, staff, profiles, advised in (
        (people.FIRM, people.PEOPLE, OURS, True),
        (people.OTHER_FIRM, people.OTHER_PEOPLE, OTHER_PROFILES, False),
    ):
        firm_id = people.prepare_firm(name, staff)
        access = standing[name] = Access.system(firm_id, "test")
        for story in book.stories(profiles, advised=advised):
            book.load(access, story)
        call_command("close_month", THROUGH, first=FIRST_MONTH, firm=name, stdout=StringIO())
        for profile in profiles:
            with access.opened():
                request = QuarterlyRequest(ref=profile.ref, quarter=read_quarter("2024-Q3"))
                packet = issue_quarterly(access=access, request=request)
                draw_packet(access=access, packet_id=packet.pk)
        with access.opened():
            # Two starts of history are enough here.
            proposed = ProposalRequest(ref=profiles[0].ref, every=360)
            packet = issue_proposal(access=access, request=proposed)
            draw_packet(access=access, packet_id=packet.pk)
    people.open_client_page(standing[people.FIRM].firm_id, "HH-0101")
    return standing


def text_of(response: object) -> str:
    """A page's text, a PDF's text, and every header."""
    headers = " ".join(f"{key}: {value}" for key, value in response.items())  # type: ignore[attr-defined]
    content = response.getvalue() if response.streaming else response.content  # type: ignore[attr-defined]
    if response.get("Content-Type", "").startswith("application/pdf"):  # type: ignore[attr-defined]
        from io import BytesIO

        return headers + " ".join(page.extract_text() for page in PdfReader(BytesIO(content)).pages)
    return headers + content.decode("utf-8", "replace")


def everything_reachable(email: str, limit: int = 400) -> dict[str, str]:
    """Every page a person reaches from the first one, by following links."""
    client = Client()
    client.force_login(User.objects.get(email=email))
    pages: dict[str, str] = {}
    waiting = deque(["/"])
    while waiting and len(pages) < limit:
        path = waiting.popleft()
        if path in pages or path.startswith(("/static/", "/logout")):
            continue
        response = client.get(path)
        if response.status_code in (301, 302):
            waiting.append(response["Location"])
            pages[path] = ""
            continue
        pages[path] = text_of(response)
        waiting.extend(link.replace("&amp;", "&") for link in LINK.findall(pages[path]))
    return pages


def test_nothing_of_the_other_firm_shows_anywhere(two_firms: dict[str, Access]) -> None:
    theirs = everything_reachable(people.OTHER_PEOPLE[0].email)
    nothing_on_our_pages()
    they_are_found_at_home(theirs)
    their_addresses_are_nobodys(tuple(theirs))
    nothing_in_our_commands()


def nothing_on_our_pages() -> None:
    """Every page, packet and mail that our people can reach."""
    seen: dict[str, int] = {}
    for person in people.PEOPLE:
        pages = everything_reachable(person.email)
        seen[person.role] = len(pages)
        for path, text in pages.items():
            assert not found_in(text), (person.role, path, found_in(text))
    assert seen["principal"] > 15, seen
    for message in mail.outbox:
        assert not found_in(message.subject + message.body)


def they_are_found_at_home(theirs: dict[str, str]) -> None:
    """The search works: the other firm's own pages hold what is searched for."""
    found = set().union(*(found_in(text) for text in theirs.values()))
    assert {"Quillmark", "Umberlode", "Ottoline", "QX-90"} <= found


def their_addresses_are_nobodys(paths: tuple[str, ...]) -> None:
    """Their households, months and packets are not there for any of us."""
    named = [path for path in paths if "QX-90" in path]
    assert len(named) > 5
    for person in people.PEOPLE:
        client = Client()
        client.force_login(User.objects.get(email=person.email))
        # An accountant has no pages of households at all yet, ours or theirs.
        expected = 403 if person.role == "accountant" else 404
        # Where something is made, those who may make nothing are told so first.
        makes = person.role in ("principal", "advisor")
        for path in named:
            if path.endswith("/proposal/"):
                response = client.post(path)
                assert response.status_code == (404 if makes else 403), (person.role, path)
            else:
                response = client.get(path)
                assert response.status_code == expected, (person.role, path)
            assert not found_in(text_of(response)) - {"QX-90"}


def nothing_in_our_commands() -> None:
    """What the commands print about our household."""
    for command, words in (("dump_household", []), ("show_household", ["--json"])):
        out = StringIO()
        call_command(command, "HH-0101", "--firm", people.FIRM, *words, stdout=out)
        assert json.loads(out.getvalue())
        assert not found_in(out.getvalue())
