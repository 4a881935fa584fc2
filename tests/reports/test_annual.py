"""The accountant's annual packet: figures, refusals, files, command, desk, roles."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import shutil
import subprocess
import zipfile
from datetime import date
from io import StringIO

import pikepdf
import pypdf
import pytest
from django.core.management import call_command
from django.urls import reverse

from config.database import firm_scope
from ledger.core.close import evaluate
from ledger.core.report import report_json
from ledger.services.closing import asking
from planning.access import NotVisibleError
from planning.core.household_file import household_from_json
from planning.core.money import cents_from_text
from planning.models import ClientAccess, Household, Membership
from reports.annual_files import annual_csv, annual_xlsx, table_csv
from reports.demo import profiles, simulator
from reports.models import Packet
from reports.packets.annual import NotTiedError, annual_data, supersession
from reports.packets.annual_tables import table
from reports.rendering import render_packet
from reports.services.annual import AnnualRequest, issue_annual
from reports.services.packets import NotClosedError, draw_packet
from tests.reports import sample
from tests.reports.conftest import CANARY_REF, load

AS_OF = date(2025, 1, 10)
REF = "HH-0104"  # of Québec, with a draw spent on the household in 2025
TINY = {"year": "2025"}
OTHER = "HH-0701"


@pytest.fixture(scope="module")
def made():
    """An invented household of Québec with its report closed through 2025."""
    profile = next(one for one in profiles.PROFILES if one.ref == REF)
    file = simulator.play(profile, {}).file
    household = household_from_json(file, REF)
    report = report_json(evaluate(household, "2025-12"), with_comparison=False)
    return file, household, report


@pytest.fixture(scope="module")
def data(made):
    """Its packet for 2025, as it comes back from storage."""
    _, household, report = made
    shown = annual_data(household, report, 2025, "en", date(2026, 1, 10))
    return json.loads(json.dumps(shown))


def the(data, number, name):
    """A table of a schedule."""
    found = next(one for one in data["schedules"] if one["number"] == number)
    return next(one for one in found["tables"] if one["name"] == name)


def column(found, key):
    """A column's cells in cents."""
    place = [one["key"] for one in found["columns"]].index(key)
    return [cents_from_text(row[place]) for row in found["rows"]]


def test_interest_schedule_is_the_reports_deduction(made, data):
    claim = made[2]["deductions"]["2025"]
    totals = the(data, 5, "interest")["totals"]
    assert totals["claim"] == claim["deductible"] != "0.00"
    for key, of_report in (("posted", "posted"), ("paid", "paid"), ("eligible", "deductible"),
                           ("ineligible", "ineligible"), ("compound", "compound")):  # fmt: skip
        assert totals[key] == claim[of_report], key
    assert {key: amount for key, _, amount in data["figures"]}["federal"] == claim["federal"]


def test_quebec_lines_lead_to_the_provincial_figure(made, data):
    claim = made[2]["deductions"]["2025"]
    rows = [cents_from_text(row[1]) for row in the(data, 5, "lines-of-the-return")["rows"]]
    line_231, line_260, line_252, net, pool = rows[3:]
    assert line_231 - line_260 + line_252 == net == cents_from_text(claim["provincial"])
    assert line_260 > 0
    assert pool == cents_from_text(claim["pool"])


def test_roll_forward_leads_from_month_to_month_to_the_statement(data):
    found = the(data, 2, "line-line")
    opening, closing = column(found, "opening"), column(found, "closing")
    assert opening[1:] == closing[:-1]
    assert closing == column(found, "statement")
    moved = [column(found, key) for key in ("opening", "brought", "draws", "fees", "interest")]
    paid = column(found, "payments")
    assert [sum(parts) - out for *parts, out in zip(*moved, paid, strict=True)] == closing


def test_draws_and_ledger_add_up(made, data):
    draws, ledger = the(data, 3, "draws"), the(data, 4, "ledger")
    for whole, eligible, unlinked in zip(
        column(draws, "amount"), column(draws, "eligible"), column(draws, "unlinked"), strict=True
    ):
        assert whole == eligible + unlinked
    line = made[2]["lines"]["line"]
    assert column(ledger, "after_eligible")[-1] == cents_from_text(line["eligible"])
    assert sum(column(draws, "left")) == sum(map(cents_from_text, line["targets"].values()))


def test_every_schedule_is_there_and_what_is_missing_has_somebody(data):
    assert [one["number"] for one in data["schedules"]] == list(range(1, 17))
    for one in data["schedules"]:
        assert one["tables"] or one["missing"], one["number"]
        assert all(lack["what"] and lack["who"] for lack in one["missing"])


def test_evidence_is_that_of_the_years_draws(made):
    _, household, report = made
    sha = "ab" * 32
    papers = [
        {"ref": f"confirmation-{draw}", "draw": draw, "name": "a.pdf", "kind": "pdf", "sha256": sha}
        for draw in ("line-2025-08-1", "line-2026-08-1")
    ]
    shown = annual_data(household, report, 2025, "en", AS_OF, papers)
    rows = {row[1]: row for row in the(shown, 16, "evidence")["rows"]}
    assert rows["line-2025-08-1"][4] == sha
    assert rows["line-2025-07-1"][4] == ""
    assert not [draw for draw in rows if "-2026-" in draw]


def broken(file, month):
    """The file with ten dollars too many on the line's statement of a month."""
    changed = json.loads(json.dumps(file))
    for one in changed["statements"]:
        if one["account"] == "line" and one["ends"].startswith(month):
            one["closing"] = f"{cents_from_text(one['closing']) / 100 + 10:.2f}"
    return changed


def test_refused_with_the_month_that_does_not_tie(made):
    household = household_from_json(broken(made[0], "2025-05"), REF)
    report = report_json(evaluate(household, "2025-12"), with_comparison=False)
    with pytest.raises(NotTiedError) as refused:
        annual_data(household, report, 2025, "en", AS_OF)
    assert ("2025-05", "line") in refused.value.months


def lossy_sale(fraction):
    """Heron Quay with a sale below its debt in December, half of it spent."""
    file = sample.file()
    inv = {"account": "inv", "starts": "2026-07-01", "ends": "2026-12-31", "opening": "0.00",
           "closing": "0.00", "entries": [
               {"id": "buy", "date": "2026-07-17", "kind": "contribution", "amount": "2000.00"},
               {"id": "sold", "date": "2026-12-15", "kind": "withdrawal", "amount": "300.00",
                "of": "proceeds", "to": "personal", "proceeds": "600.00",
                "cost_fraction": fraction}]}  # fmt: skip
    file["statements"] = [one for one in file["statements"] if one["account"] != "inv"] + [inv]
    line = next(one for one in file["statements"] if one["account"] == "line")
    extra = {**line, "starts": "2026-10-01", "ends": "2026-12-31", "entries": []}
    extra["opening"] = extra["closing"] = line["closing"]
    file["statements"].append(extra)
    return file


def test_the_figure_of_20_1_stands_beside_the_rules():
    household = household_from_json(lossy_sale("1"), sample.REF)
    report = report_json(evaluate(household, "2026-12"), with_comparison=False)
    shown = annual_data(household, report, 2026, "en", AS_OF)
    found = the(shown, 7, "left")
    debt = column(found, "debt")[0]
    assert debt > 60000
    # The rule: D x W / S = half of the debt. ITA 20.1: the 300.00 kept; D - S deemed still used.
    assert column(found, "moved") == [-(-debt // 2)]
    assert column(found, "gone") == [30000]
    assert column(found, "deemed") == [debt - 60000]


def test_memo_says_was_is_and_difference(data):
    old = json.loads(json.dumps(data))
    old["figures"][6][2] = "500.00"
    memo = supersession(old, 1, data)
    now = data["figures"][6][2]
    gap = cents_from_text(now) - 50000
    assert memo["moved"]
    assert memo["rows"][6][1:] == ["500.00", now, f"{gap / 100:.2f}"]
    assert not supersession(data, 1, data)["moved"]


@pytest.fixture(scope="module", params=["en", "fr"])
def drawn(request, data):
    """The packet drawn in a language."""
    own = data | {"language": request.param}
    return own, render_packet(own)


def test_pdf_is_tagged_archival_and_the_same_each_time(drawn, tmp_path):
    own, pdf = drawn
    if own["language"] == "en":
        assert render_packet(own) == pdf
    path = tmp_path / "a.pdf"
    path.write_bytes(pdf)
    if shutil.which("qpdf"):
        subprocess.run(["qpdf", "--check", path], check=True, capture_output=True)
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert bool(opened.Root.MarkInfo.Marked)
        with opened.open_metadata() as metadata:
            assert (metadata["pdfaid:part"], metadata["pdfaid:conformance"]) == ("3", "A")


def test_attachments_round_trip_to_the_same_figures(drawn):
    own, pdf = drawn
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        files = {name: one.get_file().read_bytes() for name, one in opened.attachments.items()}
    assert set(files) == {"trace.csv", "trace.json"}
    trace = json.loads(files["trace.json"])
    assert trace["figures"] == {key: amount for key, _, amount in own["figures"]}
    assert trace["schedules"] == [one for one in own["schedules"] if one["number"] in (3, 4, 5)]
    rows = list(csv.reader(io.StringIO(files["trace.csv"].decode())))[1:]
    assert rows == [[str(cell) for cell in row] for row in the(own, 4, "ledger")["rows"]]


def test_pages_name_the_schedules_and_no_english_stays_in_french(drawn):
    own, pdf = drawn
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    text = " ".join(" ".join(pages).replace("\u00a0", " ").split())
    assert own["input_digest"][:16] in pages[-1]
    for sign in ("%(", "{{", "{%"):
        assert sign not in text
    if own["language"] == "fr":
        for english in (" the ", " of ", "Opening", "Eligible", "Missing", "schedule"):
            assert english not in text, english


def test_tables_are_the_snapshots_and_no_text_runs(data):
    packed = annual_csv(data)
    assert annual_csv(data) == packed
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        rows = list(csv.reader(io.StringIO(archive.read("05-interest.csv").decode())))
    assert rows[1:] == [[str(cell) for cell in row] for row in the(data, 5, "interest")["rows"]]
    wicked = table("t", "T", [("a", "A", "text"), ("m", "M", "money")], [["=1+1", "-5.00"]])
    assert next(iter(list(csv.reader(io.StringIO(table_csv(wicked))))[1:])) == ["'=1+1", "-5.00"]


def test_workbook_is_the_same_each_time_and_text_stays_text(data):
    own = json.loads(json.dumps(data))
    row = the(own, 1, "accounts")["rows"][0]
    row[2] = "=HYPERLINK(1)"
    book = annual_xlsx(own)
    assert annual_xlsx(own) == book
    with zipfile.ZipFile(io.BytesIO(book)) as opened:
        assert "=HYPERLINK(1)" in opened.read("xl/sharedStrings.xml").decode()
        assert "HYPERLINK" not in opened.read("xl/worksheets/sheet2.xml").decode()


@pytest.mark.skipif(shutil.which("soffice") is None, reason="needs LibreOffice to recalculate")
def test_a_spreadsheet_program_computes_the_same_totals(data, tmp_path):
    """Each sheet as recalculated: stated rows equal the rows computed again, differences zero."""
    book = tmp_path / "a.xlsx"
    # The values kept beside the formulas are taken out, so that only a calculation passes.
    with (
        zipfile.ZipFile(io.BytesIO(annual_xlsx(data))) as source,
        zipfile.ZipFile(book, "w") as out,
    ):
        for name in source.namelist():
            content = source.read(name)
            if name.startswith("xl/worksheets/"):
                content = re.sub(rb"</f><v>[^<]*</v>", b"</f>", content)
            out.writestr(name, content)
    profile = f"-env:UserInstallation=file://{tmp_path}/profile"
    form = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,-1"
    subprocess.run(
        ["soffice", profile, "--headless", "--convert-to", form, "--outdir", tmp_path, book],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    compared = 0
    for path in sorted(tmp_path.glob("a-*.csv")):
        rows = list(csv.reader(path.open(encoding="utf-8")))
        for at, row in enumerate(rows):
            if row and row[0] == "Stated":
                again, gap = rows[at + 1], rows[at + 2]
                assert again[0] == "Computed again"
                assert [float(one) for one in row[1:] if one] == [
                    float(one) for one in again[1:] if one
                ]
                assert not any(float(one) for one in gap[1:] if one)
                compared += sum(1 for one in row[1:] if one)
    expected = sum(len(one["totals"]) for part in data["schedules"] for one in part["tables"])
    assert compared == expected > 20


def ended(ref=OTHER, closing=None):
    """Heron Quay a year earlier under another reference, with statements to the year's end.

    `closing` is what the last statement of the line says instead of the truth.
    """
    text = json.dumps(sample.file()).replace("2026", "2025").replace("2027", "2026")
    file = json.loads(text.replace(sample.REF, ref))
    for name in ("line", "mtg"):
        last = next(one for one in file["statements"] if one["account"] == name)
        extra = {"account": name, "starts": "2025-10-01", "ends": "2025-12-31",
                 "opening": last["closing"], "closing": last["closing"], "entries": []}  # fmt: skip
        if name == "line" and closing:
            extra["closing"] = closing
        file["statements"].append(extra)
    return file


def close(book, file):
    """Load a household into the first firm and close its year."""
    load(book.firm_id, file)
    ref = file["household"]["ref"]
    for work in asking.plan_work(
        month="2025-12", first="2025-07", firm="Fernhollow Advisory", household=ref
    ):
        asking.close_here(work)


@pytest.fixture
def year_book(book):
    """The book with a second household, closed to the end of 2025, which the client may see."""
    close(book, ended())
    with firm_scope(book.firm_id):
        client = Membership.objects.get(role="client")
        household = Household.objects.get(ref=OTHER)
        ClientAccess.objects.create(firm_id=book.firm_id, membership=client, household=household)
    return book


def test_issue_draw_repeat_and_audit(year_book):
    access = year_book.access()
    with access.opened():
        packet = issue_annual(access=access, request=AnnualRequest(OTHER, 2025))
        stored = draw_packet(access=access, packet_id=packet.pk)
        assert (stored.kind, stored.period, stored.version) == ("annual", "2025", 1)
        for content, sha in ((stored.pdf, stored.pdf_sha256), (stored.xlsx, stored.xlsx_sha256),
                             (stored.tables, stored.tables_sha256)):  # fmt: skip
            assert hashlib.sha256(bytes(content)).hexdigest() == sha
        again = issue_annual(access=access, request=AnnualRequest(OTHER, 2025))
        assert again.pk == packet.pk
        later = AnnualRequest(OTHER, 2025, None, date(2026, 2, 1))
        second = issue_annual(access=access, request=later)
        assert second.version == 2
        assert second.snapshot["supersedes"]["version"] == 1
        assert issue_annual(access=access, request=later).pk == second.pk


def test_open_months_are_named_and_strangers_see_nothing(book):
    access = book.access()
    with access.opened():
        with pytest.raises(NotClosedError) as refused:
            issue_annual(access=access, request=AnnualRequest(sample.REF, 2026))
        assert refused.value.open_months == ("2026-10", "2026-11", "2026-12")
        with pytest.raises(NotVisibleError):
            issue_annual(access=access, request=AnnualRequest(CANARY_REF, 2026))
        assert not Packet.objects.exists()


def test_command_writes_three_files_with_their_digests(year_book, tmp_path):
    out = StringIO()
    call_command("packet", "annual", OTHER, "2025", "--out", str(tmp_path), stdout=out)
    lines = [line.split("  ", 1) for line in out.getvalue().splitlines()]
    assert [path.rsplit("-", 1)[1] for _, path in lines] == ["v1.pdf", "v1.xlsx", "v1.csv.zip"]
    for sha, path in lines:
        with open(path, "rb") as file:  # noqa: PTH123 - a plain path of the output
            assert hashlib.sha256(file.read()).hexdigest() == sha


def test_command_refuses_bad_years_and_open_ones(book, tmp_path):
    for year, code in (("26", 2), ("2026", 1)):
        with pytest.raises(SystemExit) as ended:
            call_command(
                "packet", "annual", sample.REF, year, "--out", str(tmp_path), stderr=StringIO()
            )
        assert ended.value.code == code
    assert not list(tmp_path.iterdir())


def test_command_names_the_month_that_does_not_tie(book, tmp_path):
    close(book, ended(closing="6100.00"))
    said = StringIO()
    with pytest.raises(SystemExit) as stopped:
        call_command("packet", "annual", OTHER, "2025", "--out", str(tmp_path), stderr=said)
    assert stopped.value.code == 1
    assert "2025-12: line does not tie" in said.getvalue()
    assert not list(tmp_path.iterdir())


def test_desk_issues_lists_and_gives_three_files(year_book):
    page, button = (reverse(name, args=[OTHER]) for name in ("household", "issue_year"))
    browser = year_book.signed_in("advisor")
    assert 'value="2025"' in browser.get(page).content.decode()
    assert browser.post(button, TINY).status_code == 302
    with firm_scope(year_book.firm_id):
        packet = Packet.objects.get(kind="annual")
        household = Household.objects.get(ref=OTHER)
        assert packet.household_id == household.pk
    shown = browser.get(page).content.decode()
    for name, begins in (("packet", b"%PDF"), ("packet_xlsx", b"PK"), ("packet_csv", b"PK")):
        address = reverse(name, args=[OTHER, packet.pk])
        assert address in shown
        answer = browser.get(address)
        assert answer.content.startswith(begins)
        assert answer["Cache-Control"] == "no-store"
        assert year_book.signed_in("client").get(address).status_code == 200
        assert year_book.signed_in("stranger").get(address).status_code == 404


def test_who_may_not_issue(year_book):
    button = reverse("issue_year", args=[OTHER])
    for role, status in (("assistant", 403), ("client", 403), ("stranger", 404)):
        assert year_book.signed_in(role).post(button, TINY).status_code == status
    with firm_scope(year_book.firm_id):
        assert not Packet.objects.exists()


def test_a_quarterly_packet_has_no_workbook(book):
    missing = reverse("packet_xlsx", args=[sample.REF, "00000000-0000-0000-0000-000000000000"])
    assert book.signed_in("advisor").get(missing).status_code == 404
