"""The journal, proved by hledger, a program that knows nothing of this one."""

from __future__ import annotations

import csv
import shutil
import subprocess
from datetime import date, timedelta
from decimal import Decimal
from io import StringIO
from pathlib import Path

import pytest

from ledger.core.journal import journal_text
from ledger.core.tracing import trace
from planning.core.household_file import household_from_json, read_household
from planning.core.types import Household
from reports.demo.profiles import OTHER_PROFILES, PROFILES, Profile
from reports.demo.simulator import play
from tests.ledger.core.builders import household, traced
from tests.ledger.core.random_households import random_life

HLEDGER = shutil.which("hledger")
needs_hledger = pytest.mark.skipif(
    HLEDGER is None, reason="hledger is not installed; the journal cannot be proved from outside"
)


def hledger(journal: str, *words: str) -> subprocess.CompletedProcess[str]:
    """Run hledger on a journal given on its standard input."""
    return subprocess.run(
        [str(HLEDGER), "-f", "-", *words], input=journal, text=True, capture_output=True,
        check=False, timeout=120,
    )  # fmt: skip


def daily_balances(journal: str, account: str, starts: date, ends: date) -> dict[date, Decimal]:
    """What hledger says an account and all below it held each evening."""
    done = hledger(
        journal, "balance", f"^{account}(:|$)", "--daily", "--historical", "--depth", "3",
        "-b", starts.isoformat(), "-e", (ends + timedelta(days=1)).isoformat(), "-O", "csv",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    head, *rows = csv.reader(StringIO(done.stdout))
    total = next(row for row in rows if row[0] in ("total", "Total:"))
    return {
        date.fromisoformat(day): Decimal(cell.split()[0])
        for day, cell in zip(head[1:], total[1:], strict=True)
    }


def statement_balances(found: Household, line: str) -> dict[date, int]:
    """A line's balance every evening, straight from its statements."""
    balances: dict[date, int] = {}
    statements = found.statements_of(line)
    last = max(one.ends for one in found.statements)
    for number, one in enumerate(statements):
        running = one.opening_cents
        day = one.starts
        while day <= one.ends:
            for entry in one.entries:
                if entry.date == day:
                    sign = -1 if entry.kind == "repayment" else 1
                    running += sign * entry.amount_cents
            balances[day] = running
            day += timedelta(days=1)
        balances[one.ends] = one.closing_cents
        after = statements[number + 1].starts if number + 1 < len(statements) else None
        while day <= last and (after is None or day < after):
            balances[day] = one.closing_cents
            day += timedelta(days=1)
    return balances


@needs_hledger
@pytest.mark.parametrize("seed", [1, 2, 3, 4, 8, 13, 21, 34])
def test_hledger_finds_every_daily_balance_of_every_line(seed: int) -> None:
    found = random_life(seed, lines=1 + seed % 2)
    end = max(one.ends for one in found.statements)
    journal = journal_text(found, trace(found, end))
    for line in found.lines:
        expected = statement_balances(found, line.ref)
        starts = min(expected)
        theirs = daily_balances(journal, f"liabilities:line:{line.ref}", starts, end)
        assert len(theirs) == (end - starts).days + 1
        for day, cents in expected.items():
            assert theirs[day] == Decimal(-cents) / 100, day


def of_the_demo(profile: Profile) -> Household:
    """A demo household with all its months."""
    return household_from_json(play(profile, {}).file, profile.ref)


SAMPLES = sorted((Path(__file__).resolve().parents[2] / "samples").glob("*.json"))
NAMED = [pytest.param(one, id=one.stem) for one in SAMPLES if one.stem != "plan-only"]
NAMED += [pytest.param(one, id=one.ref) for one in (*PROFILES, *OTHER_PROFILES)]


@needs_hledger
@pytest.mark.parametrize("source", NAMED)
def test_hledger_balances_every_sample_and_demo_household_every_day(
    source: Path | Profile,
) -> None:
    if isinstance(source, Path):
        found = read_household(source.read_text("utf-8"), source.name)
    else:
        found = of_the_demo(source)
    end = max(one.ends for one in found.statements)
    journal = journal_text(found, trace(found, end))
    assert hledger(journal, "check").returncode == 0
    for line in found.lines:
        expected = statement_balances(found, line.ref)
        if not any(expected.values()):
            assert f"liabilities:line:{line.ref}" not in journal
            continue
        theirs = daily_balances(journal, f"liabilities:line:{line.ref}", min(expected), end)
        assert len(theirs) == (end - min(expected)).days + 1
        assert {day: -theirs[day] * 100 for day in expected} == expected


@needs_hledger
@pytest.mark.parametrize("seed", [5, 6, 7])
def test_hledger_finds_the_classes_and_targets_of_the_trace(seed: int) -> None:
    found = random_life(seed, lines=2)
    end = max(one.ends for one in found.statements)
    ours = trace(found, end)
    done = hledger(journal_text(found, ours), "balance", "--flat", "--empty", "-O", "csv")
    assert done.returncode == 0, done.stderr
    theirs = {
        row[0]: int(Decimal(row[1].split()[0]) * 100) for row in csv.reader(StringIO(done.stdout))
        if row[0] not in ("account", "total", "Total:")
    }  # fmt: skip
    compared = 0
    for ref, line in ours.lines.items():
        top = f"liabilities:line:{ref}"
        expected = {f"{top}:eligible:{to}": cents for to, cents in line.targets.items()}
        expected |= {
            f"{top}:unsupported": line.principal[1],
            f"{top}:ineligible": line.principal[2],
        }
        names = ("eligible", "unsupported", "ineligible")
        expected |= {f"{top}:interest:{n}": c for n, c in zip(names, line.unpaid, strict=True)}
        for account, cents in expected.items():
            assert theirs.get(account, 0) == -cents, account
            compared += cents != 0
    assert compared > 3


@needs_hledger
def test_a_wrong_amount_is_found_by_hledger() -> None:
    found = household("2025-01-01 draw 1000.00 invest\n2025-02-01 repayment 400.00")
    journal = journal_text(found, traced(found))
    assert hledger(journal, "check").returncode == 0
    spoiled = journal.replace("=* -600.00", "=* -600.01")
    assert spoiled != journal
    assert hledger(spoiled, "check").returncode != 0


@needs_hledger
def test_mortgage_balances_and_odd_ids_are_readable() -> None:
    statements = [
        {"account": "mtg", "starts": "2025-01-01", "ends": "2025-01-31", "opening": "1000.00",
         "closing": "905.00", "entries": [
             {"id": "a;b | c", "date": "2025-01-01", "kind": "payment", "amount": "100.00"}]},
        {"account": "mtg", "starts": "2025-02-01", "ends": "2025-02-28", "opening": "905.00",
         "closing": "760.00", "entries": [
             {"id": "p2", "date": "2025-02-01", "kind": "payment", "amount": "100.00",
              "interest": "5.00", "principal": "95.00"},
             {"id": "p3", "date": "2025-02-01", "kind": "prepayment", "amount": "50.00"}]},
    ]  # fmt: skip
    mortgage = {"ref": "mtg", "original_principal": "1000.00", "first_payment": "2025-01-01",
                "amortization_months": 12, "terms": [{"starts": "2025-01-01",
                "matures": "2026-01-01", "kind": "fixed", "rate": "0.06"}]}  # fmt: skip
    found = household_from_json(
        {"format": "towpath/household", "version": 1,
         "household": {"ref": "HH-J", "name": "Test", "province": "ON"},
         "facility": {"lender_value": "9000.00", "registered_limit": "7200.00",
                      "line_cap": "5850.00"},
         "mortgages": [mortgage], "lines": [], "investments": [], "statements": statements},
        "test",
    )  # fmt: skip
    journal = journal_text(found, trace(found, date(2025, 2, 28)))
    assert hledger(journal, "check").returncode == 0
    end = daily_balances(journal, "liabilities:mortgage", date(2025, 1, 1), date(2025, 2, 28))
    assert end[date(2025, 1, 31)] == Decimal("-905.00")
    assert end[date(2025, 2, 28)] == Decimal("-760.00")
    done = hledger(journal, "balance", "--flat", "expenses:mortgage", "-O", "csv")
    assert "10.00 CAD" in done.stdout


def test_the_journal_is_the_same_every_time() -> None:
    found = random_life(2, lines=2)
    end = max(one.ends for one in found.statements)
    assert journal_text(found, trace(found, end)) == journal_text(found, trace(found, end))
