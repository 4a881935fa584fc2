"""Small books for the tests of the close: firms made of the sample households."""

from __future__ import annotations

import copy
import json
import os
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any
from urllib.parse import quote
from uuid import UUID, uuid4

import psycopg
from django.db import connections

from config.database import firm_scope
from ledger.models import HouseholdMonth
from ledger.services.closing import facts, scheduling
from ledger.services.households import load_households
from planning.access import Access
from planning.models import Firm, FirmSettings, Household

SAMPLES = Path(__file__).resolve().parents[3] / "samples"
ROOT = SAMPLES.parents[1]


def sample(name: str) -> dict[str, Any]:
    """A sample household file."""
    found: dict[str, Any] = json.loads((SAMPLES / f"{name}.json").read_text("utf-8"))
    return found


def cut(file: dict[str, Any], through: str) -> dict[str, Any]:
    """The file as it was at the end of a month: later statements have not come yet."""
    kept = copy.deepcopy(file)
    kept["statements"] = [one for one in kept["statements"] if one["ends"][:7] <= through]
    ids = {entry["id"] for one in kept["statements"] for entry in one["entries"]}
    kept["uses"] = [one for one in kept.get("uses", []) if one["draw"] in ids]
    return kept


def new_firm(name: str) -> UUID:
    """A firm with nothing in it."""
    firm_id = uuid4()
    with firm_scope(firm_id):
        Firm.objects.create(id=firm_id, name=name)
    return firm_id


def load(firm_id: UUID, *files: dict[str, Any], reason: str = "first load") -> None:
    """Take household files into a firm's book."""
    access = Access.system(firm_id, "test")
    named = [(f"{one['household']['ref']}.json", json.dumps(one).encode()) for one in files]
    load_households(access=access, files=named, reason=reason)


def firm_of(name: str, *files: dict[str, Any]) -> UUID:
    """A firm with these households."""
    firm_id = new_firm(name)
    load(firm_id, *files)
    return firm_id


def household(firm_id: UUID, ref: str | None = None) -> UUID:
    """The id of a household; the firm's first without a reference."""
    with firm_scope(firm_id):
        rows = Household.objects.order_by("ref")
        return rows.filter(ref=ref).get().pk if ref else rows[0].pk


def schedule(firm_id: UUID, *months: str) -> None:
    """Make the rows of these months."""
    with firm_scope(firm_id):
        books = facts.coverage()
        for month in months:
            scheduling.schedule_month(firm_id=firm_id, month=day(month), books=books)


def day(month: str) -> date:
    """The first day of a month."""
    return date.fromisoformat(f"{month}-01")


def rows(firm_id: UUID, **filters: Any) -> list[HouseholdMonth]:
    """A firm's household months by household, month and version."""
    with firm_scope(firm_id):
        found = HouseholdMonth.objects.filter(**filters).select_related("household", "close")
        return list(found.order_by("household__ref", "month", "version"))


def row(firm_id: UUID, month: str, **filters: Any) -> HouseholdMonth:
    """The one current row of a month."""
    current = [
        one for one in rows(firm_id, month=day(month), **filters) if one.state != "superseded"
    ]
    assert len(current) == 1
    return current[0]


def bend(firm_id: UUID, sql: str, **values: Any) -> None:
    """One statement on a firm's rows as the application, to bend them: a lease in the past, say."""
    with firm_scope(firm_id), connections["default"].cursor() as cursor:
        cursor.execute(sql, values)


def put_thresholds(firm_id: UUID, thresholds: dict[str, Any]) -> None:
    """A version of the firm's settings that no service has checked."""
    with firm_scope(firm_id):
        number = FirmSettings.objects.count() + 1
        FirmSettings.objects.create(
            firm_id=firm_id, number=number, thresholds=thresholds, reason="written by hand"
        )


def owner() -> psycopg.Connection:
    """A connection of the owner to the test database, apart from Django's."""
    return psycopg.connect(address("owner"), autocommit=True)


def address(alias: str) -> str:
    """The address of the test database for one of the two roles."""
    held = connections[alias].settings_dict
    login = quote(held["USER"] or "postgres")
    if held["PASSWORD"]:
        login += f":{quote(held['PASSWORD'])}"
    place = f"{held['HOST'] or '127.0.0.1'}:{held['PORT'] or 5432}"
    return f"postgres://{login}@{place}/{held['NAME']}"


def environment(**extra: str) -> dict[str, str]:
    """Variables for a process of its own on the test database."""
    return {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "config.settings_test",
        "DATABASE_URL": address("owner"),
        "TOWPATH_APP_DATABASE_URL": address("default"),
        "PYTHONPATH": str(ROOT),
        **extra,
    }


def manage(*arguments: str) -> list[str]:
    """The words of a management command for `subprocess`."""
    return [sys.executable, str(ROOT / "manage.py"), *arguments]


Edit = Callable[[dict[str, Any]], None]


def edited(file: dict[str, Any], edit: Edit) -> dict[str, Any]:
    """A corrected copy of a file."""
    changed = copy.deepcopy(file)
    edit(changed)
    return changed
