"""A book from a spreadsheet: all rows or none, once, by role, every fault with its place."""

from __future__ import annotations

import csv
import io
import json

import pytest
from django.core.exceptions import PermissionDenied
from django.core.management import call_command

from ledger.mapping import household_value
from ledger.services.book_import import import_book
from planning.access import Access
from planning.core.book_rows import COLUMNS, template
from planning.models import Household
from planning.services.firms import add_person, create_firm

ADVISOR = "advisor@lockkeepers.example"
ROW = {
    "ref": "HH-900",
    "name": "Sable Weir",
    "province": "ON",
    "advisor": ADVISOR,
    "member1_name": "Nell Sable",
    "member1_born": "1982",
    "member1_income": "150000.00",
    "lender_value": "750000.00",
    "registered_limit": "600000.00",
    "line_cap": "480000.00",
    "mortgage_original": "450000.00",
    "mortgage_balance": "450000.00",
    "first_payment": "2026-02-01",
    "amortization_months": "300",
    "term_starts": "2026-01-01",
    "term_matures": "2031-01-01",
    "term_kind": "fixed",
    "term_rate": "4.89%",
    "line_spread": "-0.001",
    "prime_from": "2025-11-05",
    "prime": "0.0445",
    "plan_starts": "2026-02-01",
    "plan_months": "240",
    "growth": "0.03",
    "distributions": "reinvest",
    "refund": "prepay",
}


def table(*rows: dict[str, str], separator: str = ",", columns: tuple[str, ...] = ()) -> bytes:
    names = columns or tuple(dict.fromkeys(key for row in rows for key in row))
    out = io.StringIO()
    writer = csv.DictWriter(out, names, delimiter=separator, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode("utf-8-sig")


@pytest.fixture
def firm(db):
    return create_firm(name="Lockkeepers")


@pytest.fixture
def system(firm) -> Access:
    return Access.system(firm.pk, "test")


def person(system: Access, name: str, role: str) -> Access:
    member = add_person(
        access=system, email=f"{name}@lockkeepers.example", role=role, name=name, password="x" * 16
    )
    found = Access.for_user(member.user)
    assert found is not None
    return found


def refs(access: Access) -> list[str]:
    with access.opened():
        return sorted(Household.objects.values_list("ref", flat=True))


@pytest.mark.parametrize("separator", [",", ";"])
def test_rows_become_households_once(system, separator):
    data = table(
        ROW,
        ROW | {"ref": "HH-901", "member2_name": "Ivo", "member2_income": "60000.00"},
        separator=separator,
    )
    tried = import_book(access=system, name="book.csv", data=data, dry_run=True)
    assert [bool(one.changes) for one in tried.rows] == [True, True]
    assert refs(system) == []
    first = import_book(access=system, name="book.csv", data=data)
    again = import_book(access=system, name="book.csv", data=data)
    assert first.problems == again.problems == ()
    assert [one.changes for one in again.rows] == [(), ()]
    assert refs(system) == ["HH-900", "HH-901"]
    with system.opened():
        value = household_value(Household.objects.get(ref="HH-901"))
    assert str(value.mortgages[0].terms[0].rate_annual) == "0.0489"
    assert dict(value.plan.opening) == {"mtg": 45_000_000, "line": 0, "inv": 0}
    assert [one.name for one in value.members] == ["Nell Sable", "Ivo"]
    assert value.members[0].income == ((2026, 15_000_000),)


def test_every_fault_has_its_row_and_column_and_nothing_is_written(system):
    rows = (ROW, ROW | {"ref": "HH-902", "term_rate": "high", "growth": "30"}, ROW)
    result = import_book(access=system, name="book.csv", data=table(*rows))
    places = [one.where for one in result.problems]
    assert places == ["row 3, term_rate", "row 3, growth", "row 4, ref"]
    assert all(one.remedy for one in result.problems)
    assert refs(system) == []


@pytest.mark.parametrize(
    ("data", "place"),
    [
        (b"", ""),
        (b"PK\x03\x04\xff\xff", ""),
        (template().encode(), ""),
        (table({"ref": "HH-1", "colour": "red"}), "row 1, colour"),
        (b"ref,ref\nA,B\n", "row 1, ref"),
        (b"ref,name\nA\n", "row 2"),
        (table(ROW | {"name": "=1+1"}), "row 2, name"),
        (table(ROW | {"name": "@SUM(A1)"}), "row 2, name"),
    ],
)
def test_a_table_that_is_none_is_refused(system, data, place):
    result = import_book(access=system, name="book.csv", data=data)
    assert place in [one.where for one in result.problems]
    assert refs(system) == []


def test_a_row_never_changes_a_household_on_file(system):
    import_book(access=system, name="book.csv", data=table(ROW))
    dearer = table(ROW | {"lender_value": "800000.00"}, ROW | {"ref": "HH-903"})
    result = import_book(access=system, name="book.csv", data=dearer)
    assert [one.where for one in result.problems] == ["row 2, ref"]
    assert refs(system) == ["HH-900"]


def test_by_role_and_by_firm(system):
    advisor = person(system, "advisor", "advisor")
    colleague = person(system, "colleague", "advisor")
    assistant = person(system, "assistant", "assistant")
    with pytest.raises(PermissionDenied):
        import_book(access=assistant, name="book.csv", data=table(ROW))
    assert import_book(access=colleague, name="b.csv", data=table(ROW)).problems
    assert import_book(access=advisor, name="b.csv", data=table(ROW)).problems == ()
    taken = table(ROW | {"advisor": "colleague@lockkeepers.example"})
    assert import_book(access=colleague, name="b.csv", data=taken).problems
    stranger = Access.system(create_firm(name="Bargees").pk, "test")
    plain = table(ROW | {"advisor": ""})
    assert import_book(access=stranger, name="b.csv", data=plain).problems == ()
    assert refs(stranger) == ["HH-900"]


def test_the_command(system, tmp_path, capsys):
    path = tmp_path / "book.csv"
    path.write_bytes(table(ROW))
    call_command("import_book", str(path), dry_run=True, json=True)
    assert json.loads(capsys.readouterr().out)["household"] == "HH-900"
    assert refs(system) == []
    call_command("import_book", str(path))
    assert refs(system) == ["HH-900"]
    path.write_bytes(table(ROW | {"term_rate": "high"}))
    with pytest.raises(SystemExit) as stopped:
        call_command("import_book", str(path), json=True)
    assert stopped.value.code == 2
    assert "row 2, term_rate" in capsys.readouterr().out


def test_the_template_names_every_column():
    assert template().strip().split(",") == [column for column, _, _ in COLUMNS]
