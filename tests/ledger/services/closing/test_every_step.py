"""The process ends at every named step, at every pass; what is left is made good.

Each case is a firm of its own that ends mid-act, is swept and run again, and is
then compared with a twin that nobody disturbed.
"""

from __future__ import annotations

import re
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from uuid import UUID

import pytest

from config.database import firm_scope
from config.faults import EXIT_CODE
from ledger.models import FindingEvent, HouseholdMonth
from ledger.services.closing import running, scheduling, sweeping
from tests.ledger.services.closing import book
from tests.ledger.services.closing.dump import assert_twins

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])

MONTHS = ("2025-05", "2025-06")
FILE = book.sample("personal-draw-cured")
LEASE = "0.001"

IN_A_CLOSE = (
    "close.claimed",
    "close.loaded",
    "close.computed",
    "close.guarded",
    "close.written",
    "close.committed",
    "close.finished",
)
IN_A_CORRECTION = ("close.superseded", "close.renewed")
IN_A_SWEEP = ("sweep.released", "sweep.woken", "sweep.hinted")
IN_SCHEDULING = ("schedule.close", "schedule.month")


def test_every_step_in_the_code_is_tried_here():
    source = (book.ROOT / "ledger" / "services" / "closing").rglob("*.py")
    named = {
        name
        for path in source
        for name in re.findall(r'fault_point\("([a-z.]+)"\)', path.read_text("utf-8"))
    }
    assert named == {*IN_A_CLOSE, *IN_A_CORRECTION, *IN_A_SWEEP, *IN_SCHEDULING}


def run(act: str, cases: dict[str, UUID]) -> list[int]:
    """Run an act in a process for each fault and its firm, some side by side; their exit codes."""
    commands = {
        fault: [
            *(sys.executable, "-m", "tests.ledger.services.closing.driver"),
            *(act, str(firm), str(book.household(firm))),
        ]
        for fault, firm in cases.items()
    }

    def one(fault: str) -> int:
        done = subprocess.run(
            commands[fault],
            env=book.environment(
                TOWPATH_FAULT=fault, TOWPATH_CLOSE_LEASE=LEASE, REDIS_URL="redis://127.0.0.1:1/0"
            ),
            cwd=book.ROOT,
            capture_output=True,
            timeout=60,
            check=False,
        )
        assert done.returncode in (0, EXIT_CODE), done.stderr.decode()[-2000:]
        return done.returncode

    with ThreadPoolExecutor(4) as pool:
        return list(pool.map(one, commands))


def make_good(firm: UUID) -> None:
    """What the sweep and the next worker do."""
    sweeping.sweep_firm(firm)
    running.run_household(firm_id=firm, household_id=book.household(firm))
    sweeping.sweep_firm(firm)


def fresh(name: str) -> UUID:
    firm = book.firm_of(name, FILE)
    book.schedule(firm, *MONTHS)
    return firm


def corrected(name: str) -> UUID:
    """A firm whose two closed months rest on facts that changed since."""
    firm = book.firm_of(name, book.cut(FILE, "2025-05"))
    book.schedule(firm, *MONTHS)
    running.run_household(firm_id=firm, household_id=book.household(firm))
    book.load(firm, book.edited(FILE, first_limit), reason="restated")
    return firm


def first_limit(file) -> None:
    """The bank restates the line's first limit."""
    line = file["lines"][0]["ref"]
    next(one for one in file["statements"] if one["account"] == line)["limit"] = "123.00"


@pytest.mark.parametrize(
    ("make", "act", "points", "passes"),
    [
        (fresh, "close", IN_A_CLOSE, 2),
        (corrected, "close", IN_A_CORRECTION, 2),
        (fresh, "sweep", IN_A_SWEEP, 1),
    ],
    ids=["close", "correction", "sweep"],
)
def test_a_process_that_ends_at_any_step_leaves_nothing_undone(make, act, points, passes):
    twin = make("Twin")
    make_good(twin)
    with firm_scope(twin):
        assert FindingEvent.objects.exists(), "there is something to lose"
    ending = [f"{point}:{number}" for point in points for number in range(1, passes + 1)]
    untouched = f"{points[0]}:{passes + 1}"
    cases = {fault: make(fault) for fault in (*ending, untouched)}
    assert run(act, cases) == [EXIT_CODE] * len(ending) + [0]
    for firm in cases.values():
        make_good(firm)
        with book.owner() as connection:
            assert_twins(connection, twin, firm)


@pytest.mark.parametrize("fault", ["schedule.close:1", "schedule.close:3", "schedule.month:2"])
def test_a_scheduler_that_ends_midway_leaves_no_half_month(fault):
    twin, firm = book.firm_of("Twin", FILE), book.firm_of("Cut short", FILE)
    assert run("schedule", {fault: firm}) == [EXIT_CODE]
    with firm_scope(firm):
        assert HouseholdMonth.objects.count() == 0, "one transaction a firm"
    scheduling.schedule_all()
    with book.owner() as connection:
        assert_twins(connection, twin, firm)


def test_the_comparison_sees_one_cent():
    one, other = fresh("One"), fresh("Other")
    for firm in (one, other):
        make_good(firm)
    book.bend(other, "UPDATE ledger_finding SET dollars_cents = dollars_cents + 1")
    with book.owner() as connection, pytest.raises(AssertionError, match="ledger_finding"):
        assert_twins(connection, one, other)
