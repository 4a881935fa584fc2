"""Values at their edges: zeros, majorities, months, totals, the hundred-and-first problem."""

from __future__ import annotations

from datetime import date

import pytest

from ledger.core.formats import values
from ledger.core.formats.csv_dates import decide_order, read_date
from ledger.core.formats.csv_signs import Posting, direction, newest_first
from ledger.core.formats.faults import MOST, Faults
from ledger.core.formats.markup import MOST_DEPTH, read_markup
from ledger.core.formats.types import ReadOptions
from tests.ledger.formats.samples import LINE_SGML
from tests.ledger.formats.test_ofx import read, refused, rows

DAY = date(2025, 2, 1)


def test_interest_of_nothing_is_still_a_posting_date() -> None:
    text = LINE_SGML.replace("-3,55", "0.00").replace("-816.02", "-812.47")
    assert rows(read(text))[1] == ("2025-02-28", "interest", 0)
    plain = text.replace("<TRNTYPE>INT", "<TRNTYPE>CREDIT").replace("Intérêts débiteurs", "Note")
    assert rows(read(plain))[1] == ("2025-02-28", "repayment", 0)


@pytest.mark.parametrize(
    ("amounts", "kinds"),
    [
        (("100.00", "-200.00", "-300.00"), ["advance", "payment", "payment"]),
        (("-100.00", "200.00", "300.00"), ["advance", "payment", "payment"]),
        (("0.00", "200.00", "-300.00"), ["payment", "advance", "payment"]),
    ],
)
def test_a_positive_mortgage_balance_leaves_the_sign_to_the_words(
    amounts: tuple[str, ...], kinds: list[str]
) -> None:
    words = ("Advance", "Payment", "Payment") if amounts[0] != "0.00" else ("Advance", "x", "y")
    postings = "".join(
        f"<STMTTRN><TRNTYPE>OTHER<DTPOSTED>20250201<TRNAMT>{amount}<NAME>{word}</STMTTRN>"
        for amount, word in zip(amounts, words, strict=True)
    )
    text = (
        "<OFX><BANKMSGSRSV1><STMTTRNRS><STMTRS><CURDEF>CAD<BANKACCTFROM><ACCTID>1</BANKACCTFROM>"
        f"<BANKTRANLIST><DTSTART>20250201<DTEND>20250228{postings}</BANKTRANLIST><LEDGERBAL>"
        "<BALAMT>9000.00<DTASOF>20250228</LEDGERBAL></STMTRS></STMTTRNRS></BANKMSGSRSV1></OFX>"
    )
    assert [entry.kind for entry in read(text, ReadOptions(kind="mortgage")).entries] == kinds


@pytest.mark.parametrize(
    ("names", "month"),
    [
        ("jan Jan January janv. janvier", 1),
        ("Feb February févr. février fév", 2),
        ("Mar March mars", 3),
        ("Apr April avr. avril", 4),
        ("May mai", 5),
        ("Jun June juin", 6),
        ("Jul July juil. juillet", 7),
        ("Aug August août", 8),
        ("Sep September sept. septembre", 9),
        ("Oct October oct. octobre", 10),
        ("Nov November nov. novembre", 11),
        ("Dec December déc. décembre", 12),
    ],
)
def test_months_in_letters(names: str, month: int) -> None:
    for name in names.split():
        assert read_date(f"7 {name} 2025", None) == date(2025, month, 7)


@pytest.mark.parametrize("text", ["7 brumaire 2025", "7 jan", "jan 7 8 2025", "2025", "x"])
def test_what_is_no_month_is_no_date(text: str) -> None:
    with pytest.raises(ValueError, match=r".+"):
        read_date(text, None)


def test_twelve_decides_nothing_and_thirteen_does() -> None:
    assert decide_order(["12/11/2025", "11/12/2025"]) is None
    assert decide_order(["12/11/2025", "13/12/2025"]) == "dmy"
    assert decide_order(["12/11/2025", "12/13/2025"]) == "mdy"
    assert decide_order(["12/12/2025"]) == "dmy"


def test_offsets_reach_fourteen_hours() -> None:
    assert values.ofx_date("20250201060000[+14:LINT]", "America/Toronto") == date(2025, 1, 31)
    with pytest.raises(ValueError, match="offset"):
        values.ofx_date("20250201060000[+15:X]", "America/Toronto")


@pytest.mark.parametrize(("opening", "closing", "up"), [(0, 500, 1), (500, 0, -1), (0, 400, -1)])
def test_stated_totals_tell_the_sign_when_words_do_not(opening: int, closing: int, up: int) -> None:
    found = [Posting(2, DAY, 700, None, "x"), Posting(3, DAY, -200, None, "y")]
    assert direction(found, "line", opening, closing, two_columns=False).up == up


def test_rows_of_one_day_are_turned_round_when_the_balances_say_so() -> None:
    up = [Posting(2, DAY, 100, 100, ""), Posting(3, DAY, 50, 150, ""), Posting(4, DAY, 7, 157, "")]
    assert not newest_first(up)
    assert newest_first(up[::-1])
    assert not newest_first(up[:1])


def test_problems_beyond_a_hundred_are_counted() -> None:
    text = LINE_SGML.replace("<FITID>A1", "<TOWPATH.KIND>x</TOWPATH.KIND>\n<FITID>A1")
    assert len(refused(text)) == 1
    faults = Faults("f")
    for number in range(MOST + 3):
        faults.add(number, "", "m", "r")
    problems = faults.stop().problems
    assert len(problems) == MOST + 1
    assert problems[-1].message == "3 more problems"


def test_depth_is_counted_exactly() -> None:
    names = [f"A{n}" for n in range(MOST_DEPTH)]

    def nested(depth: int) -> str:
        inside = "".join(f"<{name}>" for name in names[: depth - 1])
        outside = "".join(f"</{name}>" for name in reversed(names[: depth - 1]))
        return f"<OFX>{inside}{outside}</OFX>"

    assert read_markup(nested(MOST_DEPTH), Faults("f")).children
    with pytest.raises(Exception, match="more than 64 deep"):
        read_markup(nested(MOST_DEPTH + 1), Faults("f"))


def test_an_empty_leaf_gives_its_siblings_back_to_its_parent() -> None:
    tree = read_markup("<OFX><X><EMPTY><A>1<B>2</X><C>3</OFX>", Faults("f"))
    x = tree.children[0].children[0]
    assert [one.name for one in x.children] == ["EMPTY", "A", "B"]
    assert x.value("A") == "1"
    assert [one.name for one in tree.children[0].children] == ["X", "C"]
