"""Running the checks: the database once, then firm by firm, household by household."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from django.db import connection, transaction

from config.audit import broken_links
from config.database import firm_scope
from config.problems import BadInput
from ledger.selectors.checks import household as of_household
from ledger.selectors.checks import schema
from ledger.selectors.checks.findings import CheckFinding
from planning.models import Firm, Household

SCHEMA_CHECKS: tuple[tuple[str, Callable[[], Iterator[CheckFinding]]], ...] = (
    ("row-security", schema.row_security),
    ("composite-keys", schema.composite_keys),
    ("append-only", schema.append_only),
)
CHECKS: tuple[str, ...] = (
    *(name for name, _ in SCHEMA_CHECKS),
    "audit-chain",
    *(name for name, _ in of_household.HOUSEHOLD_CHECKS),
)


@dataclass(frozen=True, slots=True)
class Checked:
    """What was looked at, and what was found."""

    firms: int
    households: int
    findings: tuple[CheckFinding, ...]

    @property
    def faults(self) -> tuple[CheckFinding, ...]:
        """The findings that are faults."""
        return tuple(one for one in self.findings if one.level == "fault")


def check_book(
    firms: Sequence[Firm],
    household: str | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> Checked:
    """Run every check over these firms, or over one household of theirs.

    Each firm is read in one transaction that writes nothing and sees one moment.
    """
    findings = [one for _, check in SCHEMA_CHECKS for one in check()]
    households = 0
    for firm in firms:
        with _one_moment(), firm_scope(firm.pk):
            for number, what in broken_links(firm.pk):
                findings.append(
                    CheckFinding("audit-chain", "fault", firm.name, "", f"row {number}", what)
                )
            rows = Household.objects.filter(firm_id=firm.pk).order_by("ref")
            for row in rows if household is None else rows.filter(ref=household):
                progress(row.ref)
                households += 1
                findings += _check_household(firm.name, row)
    return Checked(len(firms), households, tuple(findings))


def _check_household(firm: str, row: Household) -> list[CheckFinding]:
    try:
        book = of_household.read_book(firm, row)
    except (BadInput, ValueError, LookupError, AssertionError) as error:
        message = f"the household cannot be read: {error}"
        return [CheckFinding("plan-digest", "fault", firm, row.ref, "", message)]
    return [one for _, check in of_household.HOUSEHOLD_CHECKS for one in check(book)]


def _one_moment() -> transaction.Atomic:
    """A read-only transaction that sees one moment; inside another one, that one."""
    atomic = transaction.atomic()
    if connection.in_atomic_block:
        return atomic
    return _Snapshot(using=None, savepoint=True, durable=False)


class _Snapshot(transaction.Atomic):
    def __enter__(self) -> None:
        super().__enter__()
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
