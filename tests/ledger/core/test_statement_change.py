"""What an imported statement changes in the book."""

from __future__ import annotations

from datetime import date

import pytest

from ledger.core.formats.reading import read_statements
from ledger.core.formats.types import ReadOptions
from ledger.core.statement_change import (
    CannotBook,
    Change,
    balances_of,
    change,
    entry_id,
    statement_of,
)
from planning.core.types import Statement

FEBRUARY = ("2025-02-01 draw 100.00 a", "2025-02-10 draw 50.00 b", "2025-02-28 interest 1.00 c")
MARCH = ("2025-03-05 repayment 20.00 d", "2025-03-31 interest 2.00 e")


def book(rows: tuple[str, ...], starts: str, ends: str, opening: str = "0.00") -> Statement:
    lines = ["towpath statement,1", "kind,line", f"starts,{starts}", f"ends,{ends}"]
    lines += [f"opening,{opening}", f"rate,{starts},0.06", "date,kind,amount,id"]
    lines += [",".join(row.split()) for row in rows]
    (one,) = read_statements("\n".join(lines).encode(), "s.csv", ReadOptions())
    assert one.opening_cents is not None
    assert one.closing_cents is not None
    return statement_of(one, "line", one.opening_cents, one.closing_cents)


FEB = book(FEBRUARY, "2025-02-01", "2025-02-28")
MAR = book(MARCH, "2025-03-01", "2025-03-31", "151.00")


def test_a_first_statement_is_booked_whole() -> None:
    assert change(FEB, (), "line") == Change((FEB,), restates=False, new=3, here=0)
    assert [one.id for one in FEB.entries] == ["line-a", "line-b", "line-c"]
    assert entry_id("line", "line-2025-02-1") == "line-2025-02-1"


def test_the_same_statement_again_changes_nothing() -> None:
    assert change(FEB, (FEB, MAR), "line") == Change((), restates=False, new=0, here=3)


def test_a_changed_statement_of_the_period_restates_it() -> None:
    changed = book((*FEBRUARY[:2], "2025-02-28 interest 1.10 c"), "2025-02-01", "2025-02-28")
    assert change(changed, (FEB, MAR), "line") == Change((changed,), restates=True, new=1, here=2)


def test_both_months_in_one_file_or_two_in_any_order_give_the_same_book() -> None:
    both = book(FEBRUARY + MARCH, "2025-02-01", "2025-03-31")
    assert change(both, (FEB, MAR), "line") == Change((), restates=False, new=0, here=5)
    after = change(both, (FEB,), "line")
    assert (after.new, after.here, after.restates) == (2, 3, False)
    (tail,) = after.book
    assert (tail.starts, tail.ends) == (date(2025, 3, 1), date(2025, 3, 31))
    assert (tail.opening_cents, tail.closing_cents) == (15100, 13300)
    assert tail.entries == MAR.entries
    assert tail.rates[0][0] == date(2025, 3, 1)
    (head,) = change(both, (MAR,), "line").book
    assert (head.starts, head.ends, head.closing_cents) == (FEB.starts, FEB.ends, 15100)
    assert head.entries == FEB.entries


def test_a_file_that_overlaps_and_differs_is_refused() -> None:
    other = book((*FEBRUARY[:1], *MARCH), "2025-02-01", "2025-03-31")
    with pytest.raises(CannotBook, match="differs from them"):
        change(other, (FEB,), "line")


def test_an_open_opening_follows_from_the_statement_before() -> None:
    text = "Date,Amount\n2025-03-01,-5.00\n2025-03-31,-1.00\n"
    (one,) = read_statements(text.encode(), "s.csv", ReadOptions(kind="line"))
    assert one.opening_cents is None
    assert balances_of(one, (FEB,)) == (15100, 15700)
    with pytest.raises(CannotBook, match="no opening balance"):
        balances_of(one, ())
