"""A statement file for the small book of the report tests."""

from __future__ import annotations

from datetime import date

from ledger.core.formats.render_csv import render_csv
from ledger.core.formats.types import ParsedEntry, ParsedStatement, account_hash
from tests.reports import sample


def october(dollars: int = 500) -> bytes:
    """The line's statement of October 2026 at Heron Quay as a file: one draw."""
    last = [one for one in sample.household().statements if one.account == "line"][-1]
    entry = ParsedEntry(
        date=date(2026, 10, 5),
        sequence=1,
        kind="draw",
        amount_cents=dollars * 100,
        description="Transfer",
        external_id="line-2026-10-1",
    )
    return render_csv(
        ParsedStatement(
            format="csv",
            account_last4="0002",
            account_hash=account_hash("55-0002"),
            limit_cents=None,
            value_cents=None,
            rates=(),
            kind="line",
            currency="CAD",
            starts=date(2026, 10, 1),
            ends=date(2026, 10, 31),
            opening_cents=last.closing_cents,
            closing_cents=last.closing_cents + dollars * 100,
            entries=(entry,),
        ),
        "55-0002",
    ).encode()
