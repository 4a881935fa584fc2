"""Importing statements: once, whole or not at all, restated by revision, found by number."""

from __future__ import annotations

import json
import threading
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connections

from config.audit import broken_links
from config.database import firm_scope
from config.models import AuditEvent
from ledger.core.formats.render import render_ofx1, render_ofx2
from ledger.core.formats.render_csv import render_csv
from ledger.core.formats.types import ParsedEntry, ParsedStatement, ReadOptions, account_hash
from ledger.mapping import household_value
from ledger.models import AccountIdentifier, HouseholdMonth, SourceFile, Statement
from ledger.services.closing import running
from ledger.services.households import load_households
from ledger.services.importing.running import ImportRequest, import_statements
from planning.access import Access
from planning.core.household_file import household_from_json
from planning.core.types import Statement as Value
from planning.models import Firm
from planning.models import Household as HouseholdRow
from tests.ledger.services.closing import book

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])

SAMPLE = json.loads(Path("tests/samples/steady.json").read_text())
STEADY = household_from_json(SAMPLE, "steady.json")
KINDS = {"mtg": "mortgage", "line": "line", "inv": "investment"}
NUMBERS = {"mtg": "10-0001", "line": "10-0002", "inv": "10-0003"}
TODAY = date(2026, 5, 1)


@pytest.fixture
def access():
    """A firm that holds the household's people and accounts, and none of its statements."""
    firm = Firm(name="Lantern Ridge")
    with firm_scope(firm.pk):
        firm.save(force_insert=True)
    found = Access.system(firm.pk, "test")
    bare = SAMPLE | {"statements": [], "uses": []}
    load_households(access=found, files=[("steady.json", json.dumps(bare).encode())])
    return found


def parsed(one: Value) -> ParsedStatement:
    """A household statement as a bank's file would show it."""
    entries = tuple(
        ParsedEntry(
            date=entry.date,
            sequence=number,
            kind=entry.kind,
            amount_cents=entry.amount_cents,
            description=f"Posting {number}",
            external_id=entry.id,
            interest_cents=entry.interest_cents,
            principal_cents=entry.principal_cents,
            source=entry.source,
            of=entry.of,
            paid=entry.paid,
            to=entry.to,
            proceeds_cents=entry.proceeds_cents,
            cost_fraction=entry.cost_fraction,
        )
        for number, entry in enumerate(one.entries, start=1)
    )
    return ParsedStatement(
        format="csv",
        account_last4=NUMBERS[one.account][-4:],
        account_hash=account_hash(NUMBERS[one.account]),
        currency="CAD",
        kind=KINDS[one.account],
        starts=one.starts,
        ends=one.ends,
        opening_cents=one.opening_cents,
        closing_cents=one.closing_cents,
        limit_cents=one.limit_cents,
        value_cents=one.value_cents,
        rates=one.rates,
        entries=entries,
    )


WRITERS = ((".csv", render_csv), (".ofx", render_ofx1), (".qfx", render_ofx2))


def written(one: Value, form: int = 0) -> tuple[str, bytes]:
    suffix, render = WRITERS[form]
    text = render(parsed(one), NUMBERS[one.account])
    return f"{one.account}-{one.starts:%Y-%m}{suffix}", text.encode()


def imports(access: Access, *files: tuple[str, bytes], **options):
    request = ImportRequest(
        files=files,
        options=options.pop("options", ReadOptions(today=TODAY)),
        household=options.pop("household", "HH-0301"),
        **options,
    )
    return import_statements(access=access, request=request)


def stored(access: Access):
    with access.opened():
        return household_value(HouseholdRow.objects.get(ref="HH-0301")).statements


def plain(statements):
    """Statements without their order in the file; an investment's value is its closing."""
    filled = (
        replace(one, value_cents=one.closing_cents) if one.account == "inv" else one
        for one in statements
    )
    return {(one.account, one.starts): one for one in filled}


def counts(result):
    return [(one["imported"], one["already_here"]) for one in result.answers]


def with_dearer_interest(one: Value) -> Value:
    """The statement with its interest ten cents higher."""
    entries = tuple(
        replace(entry, amount_cents=entry.amount_cents + 10) if entry.kind == "interest" else entry
        for entry in one.entries
    )
    assert entries != one.entries
    return replace(one, entries=entries, closing_cents=one.closing_cents + 10)


LINE = [one for one in STEADY.statements if one.account == "line"]


def test_a_year_of_files_in_three_formats_is_the_household_file(access):
    files = [written(one, place % 3) for place, one in enumerate(STEADY.statements)]
    result = imports(access, *reversed(files))
    assert result.problems == ()
    assert sum(one["imported"] for one in result.answers) == sum(
        len(one.entries) for one in STEADY.statements
    )
    assert plain(stored(access)) == plain(STEADY.statements)
    again = imports(access, *files)
    assert {one["imported"] for one in again.answers} == {0}
    other = [written(one, (place + 1) % 3) for place, one in enumerate(STEADY.statements)]
    assert {one["imported"] for one in imports(access, *other).answers} == {0}
    with access.opened():
        assert Statement.objects.count() == len(STEADY.statements)


def test_files_are_kept_byte_for_byte_with_their_trail(access):
    name, data = written(LINE[1])
    imports(access, (name, data), reason="arrived by mail")
    with access.opened():
        (kept,) = SourceFile.objects.filter(format="csv")
        assert (bytes(kept.content), kept.name, kept.size) == (data, name, len(data))
        assert Statement.objects.get().source_file_id == kept.pk
        event = AuditEvent.objects.get(action="statement.import")
        assert event.detail["reason"] == "arrived by mail"
        assert "adds line 2025-02-01" in event.detail["acts"][0]
        assert list(broken_links(access.firm_id)) == []
        known = AccountIdentifier.objects.get()
        assert (known.last4, known.account.ref) == ("0002", "line")
        assert NUMBERS["line"] not in known.digest


def test_the_second_file_finds_its_household_by_number(access):
    first, second = written(LINE[1]), written(LINE[2])
    unknown = imports(access, first, household=None)
    assert "no household of the firm knows the account number …0002" in str(unknown.problems[0])
    imports(access, first)
    found = imports(access, second, household=None)
    assert (found.problems, found.answers[0]["account"]) == ((), "line")
    assert len(stored(access)) == 2


def test_a_number_that_is_anothers_is_refused(access):
    imports(access, written(LINE[1]))
    result = imports(access, written(LINE[2]), account="mtg")
    assert "is that of another account, line" in str(result.problems[0])
    assert len(stored(access)) == 1


def test_a_changed_statement_restates_its_period_by_revision(access):
    imports(access, written(LINE[1]), written(LINE[2]))
    changed = with_dearer_interest(LINE[1])
    result = imports(access, written(changed))
    assert "restates line 2025-02-01 to 2025-02-28, 1 new" in result.acts[0]
    assert counts(result) == [(1, len(LINE[1].entries) - 1)]
    assert plain(stored(access))["line", LINE[1].starts] == changed
    with access.opened():
        revisions = Statement.objects.filter(starts=LINE[1].starts).order_by("revision")
        assert [one.revision for one in revisions] == [1, 2]
        assert revisions[1].supersedes_id == revisions[0].pk
    # The first file again does not undo what a later one corrected.
    assert counts(imports(access, written(LINE[1]))) == [(0, len(LINE[1].entries))]
    assert plain(stored(access))["line", LINE[1].starts] == changed


def test_one_bad_file_keeps_every_file_out(access):
    good = written(LINE[1])
    name, data = written(LINE[2])
    result = imports(access, good, (name, data.replace(b"draw", b"drew")))
    assert [one.file for one in result.problems] == [name]
    assert counts(result)[0] == (0, 0)
    assert stored(access) == ()
    with access.opened():
        assert not SourceFile.objects.filter(format="csv").exists()
        assert not AuditEvent.objects.filter(action="statement.import").exists()


def test_a_dry_run_says_what_would_happen_and_leaves_no_trace(access):
    real = written(LINE[1])
    dry = imports(access, real, dry_run=True)
    assert stored(access) == ()
    with access.opened():
        assert not SourceFile.objects.filter(format="csv").exists()
        assert not AccountIdentifier.objects.exists()
    assert dry.answers == imports(access, real).answers


def test_a_draw_with_a_decision_cannot_vanish_from_a_restated_statement(access):
    load_households(access=access, files=[("steady.json", json.dumps(SAMPLE).encode())])
    whole = next(one for one in LINE if any(entry.kind == "draw" for entry in one.entries))
    rest = tuple(entry for entry in whole.entries if entry.kind != "draw")
    gone = sum(entry.amount_cents for entry in whole.entries if entry.kind == "draw")
    less = replace(whole, entries=rest, closing_cents=whole.closing_cents - gone)
    before = stored(access)
    result = imports(access, written(less))
    assert any("there is no draw" in one.message for one in result.problems), result
    assert stored(access) == before


def test_overlapping_days_that_differ_are_refused(access):
    imports(access, written(LINE[1]))
    wide = replace(
        LINE[2],
        starts=date(2025, 2, 15),
        opening_cents=LINE[2].closing_cents,
        entries=(),
    )
    result = imports(access, written(wide))
    assert "overlaps booked statements" in str(result.problems[0])
    assert len(stored(access)) == 1


def test_a_destination_nobody_has_is_refused(access):
    first = next(one for one in STEADY.statements if one.account == "inv")
    name, data = written(first)
    row = f"{first.ends},transfer-in-kind,1.00,,t1,,,,,,elsewhere,,\n"
    result = imports(access, (name, data + row.encode()))
    assert "elsewhere is not a destination" in str(result.problems[0])


def test_late_facts_mark_closed_months_stale():
    firm_id = book.firm_of("Alder Point", book.sample("steady"))
    found = Access.system(firm_id, "test")
    book.schedule(firm_id, "2025-02", "2025-03", "2025-04")
    running.run_household(firm_id=firm_id, household_id=book.household(firm_id))
    changed = with_dearer_interest(LINE[2])
    assert imports(found, written(changed), account="line").problems == ()
    with firm_scope(firm_id):
        marks = {
            f"{row.month:%m}": row.stale_reason for row in HouseholdMonth.objects.order_by("month")
        }
    assert marks["02"] == ""
    assert "restates line 2025-03-01" in marks["03"]
    assert "restates line 2025-03-01" in marks["04"]


def test_two_people_with_the_same_file_book_it_once(access):
    files = [written(one) for one in LINE[:6]]
    results = []

    def work():
        try:
            results.append(imports(access, *files))
        finally:
            connections.close_all()

    threads = [threading.Thread(target=work) for _ in range(2)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    postings = sum(len(one.entries) for one in LINE[:6])
    totals = sorted(sum(one["imported"] for one in result.answers) for result in results)
    assert totals == [0, postings]
    with access.opened():
        assert Statement.objects.count() == 6


def test_a_stranger_imports_nothing(access):
    firm = Firm(name="Elsewhere")
    with firm_scope(firm.pk):
        firm.save(force_insert=True)
    imports(access, written(LINE[1]))
    stranger = Access.system(firm.pk, "test")
    assert "there is no household HH-0301" in str(imports(stranger, written(LINE[2])).problems[0])
    by_number = imports(stranger, written(LINE[2]), household=None)
    assert "no household of the firm knows" in str(by_number.problems[0])
    with pytest.raises(PermissionDenied):
        imports(replace(access, role="client"), written(LINE[2]))
