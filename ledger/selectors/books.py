"""A household's books as files: a double-entry journal, or tables for a spreadsheet."""

from __future__ import annotations

from typing import Any

from config.problems import BadInput, Problem
from ledger.core.books_csv import books_csv
from ledger.core.close import latest_month
from ledger.core.deductions import deduction_years
from ledger.core.journal import journal_text
from ledger.core.tracing import trace
from ledger.mapping import household_value
from planning.core.months import last_day

ACTION = "books.export"
FORMATS = ("journal", "csv")


def household_books(access: Any, ref: str, form: str) -> dict[str, bytes]:
    """A household's books through its latest statement's month: bytes by file name.

    `form` is `journal` (one file) or `csv` (accounts, entries, uses,
    deductions). The same facts give the same bytes. Raises BadInput when there
    is no statement yet, and what `access.household` raises.
    """
    access.require(ACTION)
    household = household_value(access.household(ref))
    month = latest_month(household)
    if month is None:
        problem = Problem(ref, "statements", "there is none yet", "Import the first statements")
        raise BadInput([problem])
    traced = trace(household, last_day(month))
    stem = f"books-{_plain(household.ref)}-{month}"
    if form == "journal":
        return {f"{stem}.journal": journal_text(household, traced).encode()}
    tables = books_csv(household, traced, deduction_years(household, traced, month))
    # A spreadsheet takes the mark at the front for "this is UTF-8".
    return {f"{stem}-{name}.csv": text.encode("utf-8-sig") for name, text in tables.items()}


def _plain(ref: str) -> str:
    """A reference as part of a file name: signs other than letters and digits become "-"."""
    return "".join(one if one.isascii() and (one.isalnum() or one in "-_") else "-" for one in ref)
