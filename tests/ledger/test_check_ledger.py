"""check_ledger: silent on sound books, and each kind of damage named."""

from __future__ import annotations

import json

import pytest
from django.db import connection, connections

from config.database.append_only import maintenance
from config.database.rls import app_role
from ledger.selectors.checks import CHECKS, CheckFinding, check_book
from ledger.services.papers import attach_evidence
from planning.selectors.firms import firms
from tests import papers
from tests.cast import SAMPLES, make_cast
from tests.ledger.test_book_commands import run

BOTH = pytest.mark.django_db(databases=["default", "owner"], transaction=True)
ROLE = "{role}"


def faults() -> set[str]:
    return {one.check for one in check_book(firms()).faults}


@pytest.mark.django_db
@pytest.mark.parametrize("path", sorted(SAMPLES.glob("*.json")), ids=lambda path: path.stem)
def test_every_sample_is_sound(path):
    assert run("load_household", str(path), "--create-firm", "Lockkeepers")[0] == 0
    code, text, _ = run("check_ledger", "--json")
    shown = json.loads(text)
    assert [one for one in shown["findings"] if one["level"] == "fault"] == []
    assert (code, shown["firms"], shown["households"]) == (0, 1, 1)
    assert shown["checks"] == list(CHECKS)


@pytest.mark.django_db
def test_visible_gaps_are_notes_and_stop_only_the_strict():
    for path in sorted(SAMPLES.glob("*.json")):
        run("load_household", str(path), "--create-firm", "Lockkeepers")
    code, text, _ = run("check_ledger")
    assert code == 0
    assert "note: statement-tie-out" in text
    assert run("check_ledger", "--strict")[0] == 1


@pytest.mark.django_db
def test_one_firm_and_one_household_may_be_chosen():
    make_cast()
    shown = json.loads(run("check_ledger", "--json", "--firm", "Bargees")[1])
    assert (shown["firms"], shown["households"]) == (1, 1)
    shown = json.loads(run("check_ledger", "--json", "--household", "HH-2")[1])
    assert shown["households"] == 1
    assert run("check_ledger", "--firm", "Nobody")[0] == 2


DAMAGE = [
    ("plan-digest", "UPDATE planning_planversion SET inputs = inputs || ' '"),
    ("plan-digest", "UPDATE planning_planversion SET number = 5"),
    ("plan-digest", "UPDATE planning_planversion SET inputs = '{}'"),
    ("version-digest", "UPDATE planning_member SET name = name || 'x'"),
    ("version-digest", "UPDATE planning_facility SET line_cap_cents = line_cap_cents + 1"),
    ("version-digest", "UPDATE planning_mortgageterm SET payment_cents = 1"),
    ("version-digest", "UPDATE planning_householdversion SET number = 2"),
    ("revision-chain", "UPDATE ledger_statement SET revision = 2, supersedes_id = id"),
    ("source-files", "UPDATE ledger_sourcefile SET content = content || '\\x00'::bytea"),
    ("papers", "UPDATE ledger_evidencecontent SET content = content || '\\x00'::bytea"),
    ("revision-chain", "UPDATE ledger_evidencepaper SET revision = 2, supersedes_id = id"),
    (
        "uses-fit",
        "UPDATE ledger_usesplit SET amount_cents = amount_cents + 100000000",
    ),
    (
        "uses-fit",
        "UPDATE ledger_drawuse SET draw = draw || '-gone'",
    ),
    (
        "statement-overlap",
        "UPDATE ledger_statement SET ends = ends + 40",
    ),
    ("audit-chain", "UPDATE config_auditevent SET actor = 'nobody'"),
]


@BOTH
@pytest.mark.parametrize(
    ("check", "damage"), DAMAGE, ids=[f"{n}-{one[0]}" for n, one in enumerate(DAMAGE)]
)
def test_damage_is_named(check: str, damage: str):
    cast = make_cast("papers")
    attach_evidence(access=cast.system, ref="HH-1", files=[("confirm.txt", papers.TEXT)])
    assert faults() == set()
    with maintenance(), connections["owner"].cursor() as cursor:
        cursor.execute(damage)
    assert check in faults()
    assert run("check_ledger")[0] == 1


SCHEMA_DAMAGE = [
    (
        "row-security",
        "ALTER TABLE ledger_statement DISABLE ROW LEVEL SECURITY",
        "ALTER TABLE ledger_statement ENABLE ROW LEVEL SECURITY",
    ),
    (
        "append-only",
        "ALTER TABLE ledger_statement DISABLE TRIGGER refuse_truncate",
        "ALTER TABLE ledger_statement ENABLE TRIGGER refuse_truncate",
    ),
    (
        "append-only",
        f"GRANT UPDATE ON ledger_usesplit TO {ROLE}",
        f"REVOKE UPDATE ON ledger_usesplit FROM {ROLE}",
    ),
    (
        "composite-keys",
        "ALTER TABLE ledger_usesplit DROP CONSTRAINT ledger_usesplit_use_id_same_firm",
        (
            "ALTER TABLE ledger_usesplit ADD CONSTRAINT ledger_usesplit_use_id_same_firm"
            " FOREIGN KEY (firm_id, use_id) REFERENCES ledger_drawuse (firm_id, id)"
            " ON DELETE RESTRICT"
        ),
    ),
]


@BOTH
@pytest.mark.parametrize(("check", "damage", "repair"), SCHEMA_DAMAGE)
def test_a_weakened_database_is_named(check: str, damage: str, repair: str):
    assert faults() == set()
    role = connection.ops.quote_name(app_role())
    with connections["owner"].cursor() as cursor:
        cursor.execute(damage.replace(ROLE, role))
    try:
        assert faults() == {check}
    finally:
        with connections["owner"].cursor() as cursor:
            cursor.execute(repair.replace(ROLE, role))
    assert faults() == set()


def test_a_finding_reads_as_one_line():
    one = CheckFinding("tracing-sum", "fault", "Lockkeepers", "HH-1", "line", "does not add up")
    assert str(one) == "fault: tracing-sum: Lockkeepers: HH-1: line: does not add up"
    assert one.as_dict()["level"] == "fault"
