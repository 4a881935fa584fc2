"""A firm of n invented households with findings, months and renewals, filled by COPY.

Only for benchmarks: rows go in as the owner with the triggers off, then one call works
out every standing, as one migration would.
"""

from __future__ import annotations

import json
import uuid
from dataclasses import dataclass
from datetime import date, timedelta
from random import Random
from typing import Any

from django.db import connections

from config.models import User

PROVINCES = ("ON", "QC", "BC", "AB", "MB", "SK", "NS", "NB", "NL", "PE")
FIRST = ("Marsh", "Alder", "Birch", "Sedge", "Fern", "Heron", "Plover", "Otter", "Willow", "Reed")
SECOND = ("quay", "hollow", "field", "water", "bridge", "lock", "mill", "ford", "bank", "weir")
CODES = (
    ("mixed-line", "act"),
    ("interest-unpaid", "act"),
    ("missed-reborrow", "fix"),
    ("idle-draw", "fix"),
    ("unsupported-draw", "paper"),
    ("statement-missing", "paper"),
    ("renewal-due", "note"),
    ("rate-off-plan", "note"),
)
MONTH = date(2026, 10, 1)
EPOCH = uuid.UUID("5f1f7a52-0000-4000-8000-000000000000")


@dataclass(frozen=True)
class Filled:
    """The firm and somebody who may see all of it, and an advisor with a hundredth."""

    firm_id: uuid.UUID
    principal: User
    advisor: User


def _id(kind: str, *what: object) -> uuid.UUID:
    return uuid.uuid5(EPOCH, f"{kind} {what}")


def fill(n: int, seed: int = 7) -> Filled:
    """Fill an empty database, as its owner, with `n` households in one firm."""
    rng = Random(seed)
    firm = _id("firm", n)
    principal = User.objects.using("owner").create(email=f"principal{n}@weir.example")
    advisors = [
        User.objects.using("owner").create(email=f"advisor{at}of{n}@weir.example")
        for at in range(max(1, n // 100))
    ]
    members = [(_id("member", n, one.pk), one.pk) for one in (principal, *advisors)]
    with connections["owner"].cursor() as cursor:
        cursor.execute("SET session_replication_role = replica" if _super(cursor) else "SELECT 1")
        _triggers(cursor, "DISABLE")
        _copy(cursor, "planning_firm", "id name timezone", [(firm, f"Weir {n}", "America/Toronto")])
        roles = ["principal"] + ["advisor"] * len(advisors)
        _copy(
            cursor,
            "planning_membership",
            "id firm_id user_id role active",
            [
                (key, firm, user, role, True)
                for (key, user), role in zip(members, roles, strict=True)
            ],
        )
        households = [_household(at, firm, members, advisors, rng) for at in range(n)]
        _copy(
            cursor,
            "planning_household",
            "id firm_id ref name province language advisor_id advisor_email",
            households,
        )
        close = _id("close", n)
        _copy(
            cursor,
            "ledger_monthclose",
            "id firm_id month state",
            [(close, firm, MONTH, "complete")],
        )
        _copy(
            cursor,
            "ledger_householdmonth",
            "id firm_id close_id household_id month version state reason fence attempt error"
            " input_digest engine result result_digest stale_reason",
            (_month(one[0], firm, close, rng) for one in households),
        )
        _copy(
            cursor,
            "ledger_finding",
            "id firm_id household_id code key first_month last_month dollars_cents"
            " cost_per_year_cents severity life open state assignee_id detail",
            (row for one in households for row in _findings(one, firm, members, rng)),
        )
        _copy(
            cursor,
            "planning_householdversion",
            "id firm_id household_id number digest reason",
            ((_id("version", one[0]), firm, one[0], 1, "0" * 64, "") for one in households),
        )
        _copy(
            cursor,
            "planning_account",
            "id firm_id household_id kind ref",
            ((_id("account", one[0]), firm, one[0], "mortgage", "m-1") for one in households),
        )
        _copy(
            cursor,
            "planning_mortgage",
            "id firm_id version_id account_id position original_principal_cents first_payment"
            " amortization_months frequency compounding biweekly_basis prepayment_privilege",
            (
                (
                    *(_id("mortgage", one[0]), firm, _id("version", one[0])),
                    *(_id("account", one[0]), 0, 40_000_000, date(2024, 1, 1), 300, "monthly"),
                    *("semi-annual", "annuity", "0.15"),
                )
                for one in households
            ),
        )
        _copy(
            cursor,
            "planning_mortgageterm",
            "id firm_id mortgage_id position starts matures kind rate",
            (
                (
                    *(_id("term", one[0]), firm, _id("mortgage", one[0]), 0, date(2024, 1, 1)),
                    *(date(2026, 10, 1) + timedelta(days=rng.randrange(1800)), "fixed", "0.0479"),
                )
                for one in households
            ),
        )
        _triggers(cursor, "ENABLE")
        cursor.execute("UPDATE planning_household SET name = name WHERE firm_id = %s", [firm])
        cursor.execute("VACUUM ANALYZE")
    return Filled(firm, principal, advisors[0])


def _super(cursor: Any) -> bool:
    cursor.execute("SELECT rolsuper FROM pg_roles WHERE rolname = current_user")
    return bool(cursor.fetchone()[0])


_FILLED = (
    "planning_household",
    "planning_mortgageterm",
    "ledger_finding",
    "ledger_householdmonth",
)


def _triggers(cursor: Any, word: str) -> None:
    for table in _FILLED:
        cursor.execute(f"ALTER TABLE {table} {word} TRIGGER USER")


def _copy(cursor: Any, table: str, columns: str, rows: Any) -> None:
    with cursor.copy(f"COPY {table} ({', '.join(columns.split())}) FROM STDIN") as copy:
        for row in rows:
            copy.write_row(row)


def _household(
    at: int, firm: uuid.UUID, members: list[Any], advisors: list[User], rng: Random
) -> tuple[Any, ...]:
    place = at % len(advisors)
    name = f"{rng.choice(FIRST)}{rng.choice(SECOND)} {rng.choice(FIRST)} {at}"
    return (
        *(_id("household", firm, at), firm, f"HH-{at:06d}", name, rng.choice(PROVINCES), "en"),
        *(members[place + 1][0], advisors[place].email),
    )


def _month(household: uuid.UUID, firm: uuid.UUID, close: uuid.UUID, rng: Random) -> tuple[Any, ...]:
    mortgage, line = rng.randrange(100_000, 600_000), rng.randrange(10_000, 200_000)
    actual = {
        "eligible": f"{line - rng.randrange(5000)}.17",
        "mortgage_closing": f"{mortgage}.45",
        "line_closing": f"{line}.03",
    }
    result = json.dumps({"actual": actual})
    stale = "a late statement" if rng.random() < 0.01 else ""
    return (
        *(_id("month", household), firm, close, household, MONTH, 1, "done", "", 1, 1, ""),
        *("0" * 64, "bench", result, "0" * 64, stale),
    )


def _findings(one: Any, firm: uuid.UUID, members: list[Any], rng: Random) -> list[tuple[Any, ...]]:
    found = []
    for code, severity in rng.sample(CODES, rng.choice((0, 0, 1, 1, 2, 3))):
        key = f"m-1:{date(2026, 12, 1)}" if code == "renewal-due" else "line"
        given = rng.choice(members)[0] if rng.random() < 0.2 else None
        found.append(
            (
                *(_id("finding", one[0], code), firm, one[0], code, key, date(2026, 8, 1), MONTH),
                *(rng.randrange(1, 2_000_000), rng.randrange(0, 90_000), severity, "standing"),
                *(True, rng.choice(("open", "open", "seen")), given, "{}"),
            )
        )
    return found
