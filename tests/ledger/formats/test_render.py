"""Writing and reading are inverse, and the three formats say the same."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.core.formats.balance import movement_cents
from ledger.core.formats.csv_text import guarded
from ledger.core.formats.reading import read_statements
from ledger.core.formats.render import render_ofx1, render_ofx2
from ledger.core.formats.render_csv import render_csv
from ledger.core.formats.types import KINDS, ParsedEntry, ParsedStatement, ReadOptions, account_hash
from planning.core.household_parts import AccountType
from planning.core.types import YIELD_KINDS

NUMBER = "900-1234567"
WRITERS = (
    ("ofx1", "s.ofx", render_ofx1),
    ("ofx2", "s.qfx", render_ofx2),
    ("csv", "s.csv", render_csv),
)
WORDS = (
    "Interest charged",
    "Prepayment interest fee",
    "Achat & vente <b>",
    "Dividende reinvesti",
    "=SUM(A1)",
    "'quoted",
    "Retour de capital",
    "",
    "-5.00",
    'Virement, "REER"; hypothèque',
    "Transfer in kind",
    "A much longer description than the name element of the format would take",
)


@st.composite
def statements(draw: st.DrawFn) -> ParsedStatement:
    kind: AccountType = draw(st.sampled_from(("line", "mortgage", "investment")))
    days = sorted(draw(st.lists(st.integers(0, 27), max_size=6)))
    entries = tuple(
        draw(entry(kind, date(2025, 2, 1) + timedelta(days=day), index))
        for index, day in enumerate(days, start=1)
    )
    opening = draw(st.integers(10**7, 10**8))  # what is owed on a mortgage is never negative
    moved = movement_cents(kind, entries)
    closing = draw(st.integers(0, 10**8)) if moved is None else opening + moved
    value = None
    if kind == "investment":
        value = draw(st.sampled_from((closing, closing + 100)))
    rates = ((date(2025, 2, 1), Decimal("0.0570")), (date(2025, 2, 12), Decimal("0.054525")))
    return ParsedStatement(
        format="csv",
        account_last4="4567",
        account_hash=account_hash(NUMBER),
        currency="CAD",
        kind=kind,
        starts=date(2025, 2, 1),
        ends=date(2025, 2, 28),
        opening_cents=opening,
        closing_cents=closing,
        limit_cents=draw(st.sampled_from((None, 10**7))) if kind == "line" else None,
        value_cents=value,
        rates=draw(st.sampled_from(((), rates))) if kind == "line" else (),
        entries=entries,
    )


@st.composite
def entry(draw: st.DrawFn, kind: AccountType, day: date, index: int) -> ParsedEntry:
    name = draw(st.sampled_from(KINDS[kind]))
    amount = draw(st.integers(0, 10**6))
    one = ParsedEntry(
        date=day,
        sequence=index,
        kind=name,
        amount_cents=amount,
        description=draw(st.sampled_from(WORDS)),
        external_id=f"id-{index}",
    )
    if name == "payment":
        interest = draw(st.integers(0, amount + 100))
        one = replace(one, interest_cents=interest, principal_cents=amount - interest)
    if name == "contribution":
        one = replace(one, source=draw(st.sampled_from((None, "own", "line-A1"))))
    if name == "distribution":
        one = replace(
            one,
            of=draw(st.sampled_from(YIELD_KINDS)),
            paid=draw(st.sampled_from(("cash", "reinvested"))),
        )
    if name == "withdrawal":
        one = replace(
            one,
            of=draw(st.sampled_from((None, "income", "proceeds", "return_of_capital"))),
            to=draw(st.sampled_from(("personal", "mortgage", "line", "idle", "inv2"))),
            proceeds_cents=draw(st.sampled_from((None, amount + 5))),
            cost_fraction=draw(st.sampled_from((None, Decimal("0.25"), Decimal(1)))),
        )
    if name == "transfer-in-kind":
        one = replace(one, to="inv2", cost_fraction=draw(st.sampled_from((None, Decimal("0.5")))))
    return one


@settings(max_examples=150, deadline=None)
@given(statements())
def test_reading_what_was_written_gives_it_back_in_each_format(one: ParsedStatement) -> None:
    for name, file, render in WRITERS:
        (back,) = read_statements(render(one, NUMBER).encode(), file, ReadOptions())
        assert back == replace(one, format=name), name  # type: ignore[arg-type]


def test_a_cell_that_starts_a_formula_is_written_as_text() -> None:
    for text in ("=1+1", "+1", "-1", "@a", "＝1"):
        assert guarded(text) == f"'{text}"
    assert guarded("Interest") == "Interest"
