"""Proposals as PDF, as rows, on the desk and by command."""

from __future__ import annotations

import hashlib
import io
import json
import os
import subprocess
import sys
from dataclasses import replace
from datetime import date
from io import StringIO
from pathlib import Path

import pikepdf
import pypdf
import pytest
from django.core.exceptions import PermissionDenied
from django.core.management import call_command
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext

from config.database import firm_scope
from config.models import AuditEvent
from ledger.core.digest import ENGINE
from planning.access import Access, NotVisibleError
from reports.models import Packet
from reports.packets.proposal import PlanOnFile, proposal_data
from reports.packets.proposal_words import USE_AND_RECORDS
from reports.packets.words import CAUTIONS
from reports.rendering import render_packet
from reports.services.packets import draw_packet
from reports.services.proposals import ProposalRequest, issue_proposal
from tests.reports import sample
from tests.reports.conftest import CANARY, CANARY_REF, load

ROOT = Path(__file__).resolve().parents[2]
ON_FILE = PlanOnFile(3, "ab" * 32, date(2026, 6, 15))
# Two starts of history are enough for everything that is not about history.
RARELY = 360
ASKED = ProposalRequest(sample.REF, every=RARELY)
HEADS = {
    "en": (
        "If the assumptions hold", "If they do not: the loss case", "Rates 3 points higher",
        "Portfolio down 30% in the worst month", "prices stand still", "Break-even",
        "Plan version 3",
    ),
    "fr": (
        "Si les hypothèses tiennent", "Sinon : le cas de perte", "Taux plus hauts de 3 points",
        "Portefeuille en baisse de 30 % au pire mois", "les cours ne montent pas",
        "Seuil de rentabilité", "Version 3 du plan",
    ),
}  # fmt: skip


def snapshot(language, household=None):
    """The sample's proposal, as it comes back from storage."""
    found = household or sample.household()
    data = proposal_data(found, ON_FILE, language, date(2026, 6, 20), every=RARELY)
    return json.loads(json.dumps(data))


@pytest.fixture(scope="module", params=["en", "fr"])
def drawn(request):
    """A language and the sample's proposal drawn in it."""
    return request.param, render_packet(snapshot(request.param))


def words(text):
    """Text with every kind of space made one space."""
    return " ".join(text.replace("\u00a0", " ").split())


def page_texts(pdf):
    """The words of each page."""
    return [words(page.extract_text()) for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def test_first_page_carries_loss_case_and_cautions(drawn):
    language, pdf = drawn
    first = page_texts(pdf)[0]
    for part in HEADS[language]:
        assert part in first, part
    losses = snapshot(language)["losses"]
    for name in ("rates", "worst_month", "flat_decade", "both"):
        amount = losses[name]["lead_over_ordinary"]
        assert amount.startswith("-")
        whole, cents = amount[1:].split(".")
        grouped = f"{int(whole):,}".replace(",", " " if language == "fr" else ",")
        shown = f"{grouped},{cents} $" if language == "fr" else f"${grouped}.{cents} behind"
        assert shown in first, (name, shown)
    with translation.override(language):
        for text in (*CAUTIONS, USE_AND_RECORDS):
            assert words(gettext(text)) in first, text


def test_every_page_has_the_short_caution_and_nothing_is_left_in_code(drawn):
    language, pdf = drawn
    pages = page_texts(pdf)
    assert len(pages) >= 10
    short = "L’emprunt amplifie les pertes." if language == "fr" else "Leverage magnifies losses."
    for text in pages:
        assert short in text
        for sign in ("%(", "{{", "{%", "line-interest-from", "refund-prepay", "worst_month"):
            assert sign not in text


def test_seed_paths_series_and_digests_are_named(drawn):
    _, pdf = drawn
    whole = " ".join(page_texts(pdf))
    for part in ("20261125", "v122620", "v80691311", "10-10-0125-01", "ab" * 32, ENGINE):
        assert part in whole, part


def test_french_has_no_english_left():
    text = " ".join(page_texts(render_packet(snapshot("fr"))))
    for english in (" the ", " of ", "Mortgage", " behind", "ahead", "Prime rate", "reported"):
        assert english not in text, english


def test_tagged_titled_and_in_a_language(drawn):
    language, pdf = drawn
    title = {"en": "Plan proposal, version 3: Heron Quay"}.get(
        language, "Proposition de plan, version 3\u00a0: Heron Quay"
    )
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert str(opened.Root.Lang) == f"{language}-CA"
        assert bool(opened.Root.MarkInfo.Marked)
        assert str(opened.docinfo["/Title"]) == title
        assert str(opened.docinfo["/CreationDate"]).startswith("D:20260620120000")
        with opened.open_metadata() as metadata:
            assert metadata["pdfuaid:part"] == "1"
        tags = [
            one
            for one in opened.objects
            if isinstance(one, pikepdf.Dictionary) and one.get("/Type") == "/StructElem"
        ]
        figures = [one for one in tags if one.get("/S") == "/Figure"]
        assert len(figures) == 3
        assert all(len(str(one["/Alt"])) > 60 for one in figures)
        heads = [one for one in tags if one.get("/S") == "/TH"]
        assert {str(one["/A"]["/Scope"]) for one in heads} == {"/Column", "/Row"}


def test_same_bytes_in_another_process(drawn, tmp_path):
    language, pdf = drawn
    kept = tmp_path / "snapshot.json"
    kept.write_text(json.dumps(snapshot(language)), encoding="utf-8")
    code = (
        "import django, hashlib, json, sys; django.setup()\n"
        "from reports.rendering import render_packet\n"
        "data = json.load(open(sys.argv[1], encoding='utf-8'))\n"
        "print(hashlib.sha256(render_packet(data)).hexdigest())"
    )
    paths = [str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]
    done = subprocess.run(
        [sys.executable, "-c", code, str(kept)],
        cwd=ROOT,
        env=os.environ | {"PYTHONHASHSEED": "4242", "PYTHONPATH": os.pathsep.join(paths)},
        check=True,
        capture_output=True,
        text=True,
    )
    assert done.stdout.strip() == hashlib.sha256(pdf).hexdigest()


def test_tax_by_returns_and_plans_without_history_are_drawn():
    file = sample.file()
    file["lines"][0]["claimant"] = "m1"
    file["plan"] |= {"marginal": None, "reborrow": None, "months": 6, "refund": "keep"}
    household = replace(sample.household(members=file["members"], plan=file["plan"]))
    text = " ".join(page_texts(render_packet(snapshot("en", household))))
    for part in (
        "to keep the mortgage without re-borrowing",
        "all members' tax without the plan",
        "A plan shorter than a year is not projected.",
    ):
        assert part in text, part


# -- rows ---------------------------------------------------------------------------


def issue(book, request=ASKED):
    """Issue and draw in the first firm."""
    access = book.access()
    with access.opened():
        packet = issue_proposal(access=access, request=request)
        return draw_packet(access=access, packet_id=packet.pk)


def test_issued_stored_once_and_in_the_trail(book):
    first, second = issue(book), issue(book)
    assert first.pk == second.pk
    assert (first.kind, first.state, first.version) == ("proposal", "stored", 1)
    assert first.snapshot["plan"]["number"] == 1
    with firm_scope(book.firm_id):
        assert first.file_name == "proposal-HH-0700-plan1-en-v1.pdf"
        trail = AuditEvent.objects.filter(object_type="packet").order_by("number")
        assert list(trail.values_list("action", flat=True)) == ["packet.issued", "packet.stored"]
        assert Packet.objects.count() == 1


def test_versions_by_plan_date_and_language(book):
    first = issue(book)
    later = issue(book, replace(ASKED, as_of=date(2026, 8, 1)))
    french = issue(book, replace(ASKED, language="fr"))
    assert [(one.period, one.language, one.version) for one in (first, later, french)] == [
        ("plan1", "en", 1),
        ("plan1", "en", 2),
        ("plan1", "fr", 1),
    ]
    load(book.firm_id, sample.file(plan=sample.file()["plan"] | {"inflation": "0.03"}))
    changed = issue(book)
    assert (changed.period, changed.version) == ("plan2", 1)
    load(book.firm_id, sample.file(plan=sample.file()["plan"] | {"inflation": "0.03"}, uses=[]))
    assert issue(book).pk == changed.pk


def test_another_firms_household_is_not_there_and_roles_are_asked(book):
    with pytest.raises(NotVisibleError):
        issue(book, replace(ASKED, ref=CANARY_REF))
    client = Access.for_user(book.people["client"])
    with client.opened(), pytest.raises(PermissionDenied):
        issue_proposal(access=client, request=ASKED)


# -- the desk -----------------------------------------------------------------------


def test_the_button_makes_the_proposal(book):
    page, button = (reverse(name, args=[sample.REF]) for name in ("household", "propose"))
    browser = book.signed_in("advisor")
    assert button in browser.get(page).content.decode()
    answer = browser.post(button, follow=True)
    assert answer.redirect_chain == [(page, 302)]
    shown = answer.content.decode()
    assert "proposal-HH-0700-plan1-en-v1.pdf" in shown
    with firm_scope(book.firm_id):
        packet = Packet.objects.get()
    link = reverse("packet", args=[sample.REF, packet.pk])
    assert link in shown
    assert book.signed_in("client").get(link).content == bytes(packet.pdf)
    assert book.signed_in("stranger").get(link).status_code == 404
    assert CANARY not in " ".join(page_texts(bytes(packet.pdf)))


@pytest.mark.parametrize(
    ("role", "status"), [("client", 403), ("assistant", 403), ("stranger", 404), ("nobody", 403)]
)
def test_who_may_not_press_it(book, role, status):
    button = reverse("propose", args=[sample.REF])
    browser = book.signed_in(role)
    assert browser.post(button).status_code == status
    if role in ("client", "assistant"):
        assert button not in browser.get(reverse("household", args=[sample.REF])).content.decode()
    with firm_scope(book.firm_id):
        assert Packet.objects.count() == 0


def test_looking_makes_nothing(book, client):
    button = reverse("propose", args=[sample.REF])
    assert book.signed_in("advisor").get(button).status_code == 405
    assert client.post(button).headers["Location"].startswith("/login/")


# -- the command ----------------------------------------------------------------------


def run(*arguments):
    """Run `packet proposal`: (exit code, standard output, error output)."""
    out, err = StringIO(), StringIO()
    try:
        call_command("packet", "proposal", *arguments, stdout=out, stderr=err)
    except SystemExit as ended:
        return ended.code, out.getvalue(), err.getvalue()
    return 0, out.getvalue(), err.getvalue()


def test_command_writes_the_file(book, tmp_path):
    where = ("--out", str(tmp_path), "--every", str(RARELY))
    code, out, _ = run(sample.REF, *where, "--as-of", "2026-06-20", "--language", "fr", "--json")
    assert code == 0
    told = json.loads(out)
    written = tmp_path / "proposal-HH-0700-plan1-fr-v1.pdf"
    assert told["file"] == str(written)
    assert told["sha256"] == hashlib.sha256(written.read_bytes()).hexdigest()
    assert (told["as_of"], told["period"]) == ("2026-06-20", "plan1")


def test_command_refuses_with_2_and_writes_nothing(book, tmp_path):
    load(book.firm_id, sample.file(plan=None))
    code, _, err = run(sample.REF, "--out", str(tmp_path), "--every", "0")
    assert code == 2
    assert "no plan is on file" in err
    assert "load_household" in err
    assert "--every" in err
    assert run("HH-0000", "--out", str(tmp_path))[0] == 2
    assert run(sample.REF, "--out", str(tmp_path), "--as-of", "soon")[0] == 2
    assert list(tmp_path.iterdir()) == []
    with firm_scope(book.firm_id):
        assert Packet.objects.count() == 0
