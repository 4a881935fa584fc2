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
from collections import Counter, deque
from datetime import date
from email import message_from_string
from io import StringIO

import pytest
from django.core import mail
from django.core.management import call_command
from django.test import Client
from pypdf import PdfReader

from config.models import OutboxMessage, User
from ledger.selectors.uses import draws_on_file
from ledger.services.papers import attach_evidence
from ledger.services.uses import decide_use
from planning.access import Access
from planning.core.types import Evidence, Split
from planning.models import Membership
from reports.calendars import calendar_bytes
from reports.demo import book, people
from reports.demo.profiles import FIRST_MONTH, OTHER_PROFILES, PROFILES
from reports.packets.period import read_quarter
from reports.selectors.dates import dates_of
from reports.services import digests, notices
from reports.services.packets import QuarterlyRequest, draw_packet, issue_quarterly
from reports.services.proposals import ProposalRequest, issue_proposal

CANARIES = (
    "Quillonmere", "Quillmark", "Umberlode", "Ottoline", "Thessaly", "Oxlade", "QX-90",
    "Quibblewick", "777,777", "777 777", "888,888", "444,444", "433,333", "355,555",
)  # fmt: skip
OURS = tuple(one for one in PROFILES if one.ref in ("HH-0101", "HH-0103", "HH-0104"))
THROUGH = "2024-09"
# Forms that a reader sends: a change tried on a plan, and renewal offers compared.
FORMS = (
    ("/plan/", "?growth=1.5&once=2000"),
    ("/plan/offers/", "?compare=1&name1=Trial&rate1=4.25"),
)
# A page of every entry of every household: of those, this many a household.
STAFF_PAGE = re.compile(r"/(trace|lines|restatements|books|draws|papers|plan)/")
ENTRY_PAGE, ENTRY_PAGES = re.compile(r"/(trace/\d+/draws|lines|draws)/"), 6
YEAR_TRACED = re.compile(r"/trace/[0-9]+/$")
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
    for name, profiles in ((people.FIRM, OURS), (people.OTHER_FIRM, OTHER_PROFILES)):
        decide_on_a_paper(standing[name], profiles[0].ref, theirs=name == people.OTHER_FIRM)
    return standing


def decide_on_a_paper(access: Access, ref: str, *, theirs: bool) -> None:
    """Hand one and the same paper in, and one that is the firm's own; decide by them."""
    word = b"Quibblewick" if theirs else b"Plainwick"
    with access.opened():
        _household, draws = draws_on_file(access, ref)
        # The newest of the closed months: its page is among the first that are visited.
        closed = [one.traced for one in draws if f"{one.traced.on:%Y-%m}" <= THROUGH]
        draw = max(closed, key=lambda one: one.on)
        kept = attach_evidence(
            access=access,
            ref=ref,
            files=[("both.txt", b"A form that both firms use\n"), (f"{word.decode()}.txt", word)],
            draw=draw.id,
        )
        shown = tuple(Evidence(one.ref, None) for one in kept)
        split = Split(draw.amount, "income-investment", "inv", None, shown)
        reason = f"the confirmation from {word.decode()}"
        decide_use(access=access, ref=ref, draw=draw.id, splits=(split,), reason=reason)


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
    entries: Counter[str] = Counter()
    while waiting and len(pages) < limit:
        path = waiting.popleft()
        if path in pages or path.startswith(("/static/", "/logout")):
            continue
        if entry := ENTRY_PAGE.search(path):
            # By kind of page and household.
            of = f"{entry[1][:5]} {path.split('/')[2]}"
            entries[of] += 1
            if entries[of] > ENTRY_PAGES:
                continue
        response = client.get(path)
        if response.status_code in (301, 302):
            waiting.append(response["Location"])
            pages[path] = ""
            continue
        pages[path] = text_of(response)
        waiting.extend(link.replace("&amp;", "&") for link in LINK.findall(pages[path]))
        waiting.extend(path + asked for ending, asked in FORMS if path.endswith(ending))
    return pages


def test_nothing_of_the_other_firm_shows_anywhere(two_firms: dict[str, Access]) -> None:
    theirs = everything_reachable(people.OTHER_PEOPLE[0].email)
    nothing_on_our_pages()
    they_are_found_at_home(theirs)
    their_addresses_are_nobodys(tuple(theirs))
    nothing_in_our_commands()
    nothing_in_our_notices(two_firms)


def nothing_in_our_notices(standing: dict[str, Access]) -> None:
    """Digests with every detail and calendars with names, ours and theirs."""
    ours, theirs = (notices_of(standing[name]) for name in (people.FIRM, people.OTHER_FIRM))
    assert "HH-0101" in ours
    assert not found_in(ours)
    assert {"Quillmark", "QX-90"} <= found_in(theirs)


def notices_of(access: Access) -> str:
    """What the principal of a firm gets by mail and calendar, and what its programs are told."""
    with access.opened():
        member = Membership.objects.select_related("user").get(role="principal")
    who = Access.for_member(member)
    assert who is not None
    day = date(2024, 10, 10)
    notices.set_preference(access=who, digest="daily", language="en")
    notices.set_details(access=who, details=True)
    assert digests.make_digest(firm_id=who.firm_id, membership_id=member.pk, day=day)
    with who.opened():
        content = OutboxMessage.objects.get(kind="digest").content
        said = calendar_bytes(dates_of(who, day), today=day, language="en", names=True)
    parts = message_from_string(content).get_payload()
    texts = [one.get_payload(decode=True).decode("utf-8") for one in parts]
    return " ".join([content, *texts, said.replace(b"\r\n ", b"").decode("utf-8")])


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
    assert {"Quillmark", "Umberlode", "Ottoline", "QX-90", "Quibblewick"} <= found


def their_addresses_are_nobodys(paths: tuple[str, ...]) -> None:
    """Their households, months and packets are not there for any of us."""
    named = [path for path in paths if "QX-90" in path.partition("?")[0]]
    asked = [path for path in paths if "QX-90" in path.partition("?")[2]]
    assert any("/plan/?" in path for path in named)
    assert any("/plan/offers/?" in path for path in named)
    assert len(named) > 5
    for person in people.PEOPLE:
        client = Client()
        client.force_login(User.objects.get(email=person.email))
        for path in named:
            response = client.get(path)
            if response.status_code == 405:
                # An address that only takes forms: send it one.
                response = client.post(path, {"reason": "mine"})
            assert response.status_code == refusal(person.role, path), (person.role, path)
            assert not found_in(text_of(response)) - {"QX-90"}
        for path in asked:
            # A list asked for their household by name: it finds nothing, or is refused.
            assert not found_in(text_of(client.get(path))) - {"QX-90"}, (person.role, path)


def refusal(role: str, path: str) -> int:
    """403 where the role may do no such thing at all; else 404: there is no such page."""
    staff_only = STAFF_PAGE.search(path) is not None
    taking_back = "/draws/" in path and "/papers/" in path and not path.endswith("/papers/")
    making = path.endswith(("/proposal/", "/annual/", "/edit/", "/shares/", "/save/"))
    granted = "/packets/" in path or YEAR_TRACED.search(path) is not None
    refused = {
        # Accountants have packets and traced years, of the households granted to them.
        "accountant": not granted,
        "client": staff_only or making,
        "assistant": taking_back or making,
    }
    return 403 if refused.get(role, False) else 404


def nothing_in_our_commands() -> None:
    """What the commands print about our household."""
    for command, words in (("dump_household", []), ("show_household", ["--json"])):
        out = StringIO()
        call_command(command, "HH-0101", "--firm", people.FIRM, *words, stdout=out)
        assert json.loads(out.getvalue())
        assert not found_in(out.getvalue())
