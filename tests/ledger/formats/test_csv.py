"""CSV statements: our own layout, banks' exports in both languages, and their faults."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from ledger.core.formats.types import ReadOptions
from ledger.core.formats.values import cents
from tests.ledger.formats.samples import FRENCH_CSV, LINE_SGML, OWN_CSV
from tests.ledger.formats.test_ofx import LINE_ROWS, TODAY, read, refused, rows

LINE = ReadOptions(today=date(2026, 5, 1), kind="line")


def test_our_own_layout_carries_all_a_statement_must_show() -> None:
    one = read(OWN_CSV, file="s.csv")
    assert rows(one) == LINE_ROWS
    assert (one.kind, one.opening_cents, one.closing_cents) == ("line", 0, 81602)
    assert (one.limit_cents, one.rates) == (2781102, ((date(2025, 2, 1), Decimal("0.0570")),))
    assert one.account_hash == read(LINE_SGML).account_hash


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252"])
def test_a_french_export_gives_the_same_rows(encoding: str) -> None:
    one = read(FRENCH_CSV.encode(encoding), LINE, "s.csv")
    own = read(OWN_CSV, file="s.csv")
    assert rows(one) == LINE_ROWS
    assert (one.starts, one.ends, one.limit_cents) == (own.starts, own.ends, own.limit_cents)
    assert (one.opening_cents, one.closing_cents, one.rates) == (0, 81602, own.rates)
    assert one.account_hash == own.account_hash


SIGNED = """\
Date,Description,Amount{head}
2025-02-01,Transfer to investment,{a}811.02{b1}
2025-02-28,Interest charged,{a}3.55{b2}
2025-02-28,Payment received,{b}3.55{b3}
2025-02-28,Annual fee,{a}5.00{b4}
"""


@pytest.mark.parametrize(
    ("negative_draws", "balance_sign"),
    [(True, None), (False, None), (True, 1), (True, -1), (False, 1), (False, -1)],
)
def test_signs_follow_the_balance_column_else_the_words(
    *, negative_draws: bool, balance_sign: int | None
) -> None:
    minus, plus = ("-", "") if negative_draws else ("", "-")
    balances = [81102, 81457, 81102, 81602]
    cells = ["" if balance_sign is None else f",{balance_sign * one / 100:.2f}" for one in balances]
    text = SIGNED.format(
        head="" if balance_sign is None else ",Balance",
        a=minus,
        b=plus,
        b1=cells[0],
        b2=cells[1],
        b3=cells[2],
        b4=cells[3],
    )
    one = read(text, LINE, "s.csv")
    assert rows(one) == LINE_ROWS
    if balance_sign is not None:
        assert (one.opening_cents, one.closing_cents) == (0, 81602)
        head, *body = text.splitlines()
        newest_first = "\n".join([head, *body[::-1]])
        assert rows(read(newest_first, LINE, "s.csv")) == LINE_ROWS
    else:
        assert one.opening_cents is None


def test_a_mapping_names_columns_that_no_list_knows() -> None:
    text = "Quand,Combien,Quoi\n2025-02-01,-811.02,Virement\n"
    assert "no header row" in refused(text, LINE, "s.csv")[0]
    columns = (("date", "Quand"), ("amount", "Combien"), ("description", "Quoi"))
    one = read(text, replace(LINE, columns=columns), "s.csv")
    assert rows(one) == [("2025-02-01", "draw", 81102)]
    wrong = replace(LINE, columns=(("date", "When"),))
    assert "no row names the mapped columns (When)" in refused(text, wrong, "s.csv")[0]


@pytest.mark.parametrize(
    ("dates", "expected"),
    [
        (("01/02/2025", "13/02/2025"), [date(2025, 2, 1), date(2025, 2, 13)]),
        (("02/01/2025", "02/13/2025"), [date(2025, 2, 1), date(2025, 2, 13)]),
        (("2025/02/01", "20250213"), [date(2025, 2, 1), date(2025, 2, 13)]),
        (("1 févr. 2025", "13 février 2025"), [date(2025, 2, 1), date(2025, 2, 13)]),
        (("Feb 1, 2025", "Feb 13, 2025"), [date(2025, 2, 1), date(2025, 2, 13)]),
        (("02/02/2025", "2025-02-13T08:30:00"), [date(2025, 2, 2), date(2025, 2, 13)]),
    ],
)
def test_dates_are_read_when_their_order_is_beyond_doubt(
    dates: tuple[str, str], expected: list[date]
) -> None:
    text = "Date;Amount\n" + "".join(f"{one};-1.00\n" for one in dates)
    assert [entry.date for entry in read(text, LINE, "s.csv").entries] == expected


def test_dates_that_could_be_either_are_refused_each_by_name() -> None:
    text = "Date,Amount\n01/02/2025,-1.00\n03/04/2025,-1.00\n"
    problems = refused(text, LINE, "s.csv")
    assert [one.split(":")[0] for one in problems] == ["line 2, date", "line 3, date"]
    assert "day first or month first" in problems[0]
    mixed = "Date,Amount\n13/02/2025,-1.00\n02/14/2025,-1.00\n"
    assert refused(mixed, LINE, "s.csv") == ["line 3, date: '02/14/2025' is not a date"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1204.37", 120437),
        ("1,204.37", 120437),
        ("1 204,37 $", 120437),
        ("1\u202f204,37", 120437),
        ("1.204,37", 120437),
        ("$1,234,567.80", 123456780),
        ("(61.03)", -6103),
        ("61,03-", -6103),
        ("\u221261.03", -6103),
        ("-$5", -500),
        (".5", 50),
        ("+7.1", 710),
        ("0", 0),
    ],
)
def test_amounts_as_banks_write_them(text: str, expected: int) -> None:
    assert cents(text) == expected


@pytest.mark.parametrize(
    "text",
    [
        "",
        "1,204",
        "1.204",
        "1e5",
        "1.005",
        "--1",
        "1-2",
        "12,345,67",
        "1 2.3.4",
        "inf",
        "9" * 14,
        "٣",
    ],
)
def test_what_is_not_beyond_doubt_an_amount_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="amount"):
        cents(text)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("815.02", "815.02", ""),
        ("closing,816.02", "closing,817.02", "line 12, closing: opening 0.00 and entries 816.02"),
        ("draw,811.02", "draw,-811.02", "line 13, amount: the amount is negative"),
        ("draw,811.02", "drew,811.02", "line 13, kind: 'drew' is not known here"),
        ("draw,811.02", "draw,811.022", "line 13, amount: '811.022' is not an amount"),
        ("2025-02-01,draw", "2025-02-31,draw", "line 13, date: '2025-02-31' is not a date"),
        ("2025-02-01,draw", ",draw", "line 13, date: the row has no date"),
        ("rate,2025-02-01,0.0570", "rate,2025-02-01,5.70", "line 10, rate: '5.70' is not a rate"),
        ("rate,", "tax,", "line 10, tax: 'tax' is not a line of this layout"),
        (",of,", ",off,", "line 12, off: 'off' is not a column"),
        ("statement,1", "statement,2", "line 1: this version of the layout is not known"),
        ("currency,CAD", "currency,USD", "line 12, currency: the statement is in USD"),
        ("kind,line", "kind,loan", "line 4, kind: 'loan' is not a kind of account"),
        (",A2,", ",A1,", "line 14, id: the id 'A1' is already used on line 13"),
        ("ends,2025-02-28", "ends,2025-02-27", "line 14, date: 2025-02-28 lies outside"),
        ("Annual fee", '"Annual fee', "line 16: the row cannot be read"),
        ("A4,,,,,,,,", "A4,,,,,,,,,,,x", "line 16: the row has 16 cells under 13 headers"),
    ],
)
def test_each_fault_is_named_with_its_line_and_field(old: str, new: str, expected: str) -> None:
    if not expected:
        return
    assert old in OWN_CSV
    problems = refused(OWN_CSV.replace(old, new, 1), file="s.csv")
    assert any(one.startswith(expected) for one in problems), problems


def test_a_missing_row_is_found_by_the_balance_column() -> None:
    text = FRENCH_CSV.replace("28/02/2025;Paiement - merci;;3,55;811,02\n", "")
    problems = refused(text, LINE, "s.csv")
    assert problems[0].startswith("line 9, balance: the balance does not follow")
    one = read(text, replace(LINE, accept_gap=True), "s.csv")
    assert one.closing_cents == 81602


def test_a_row_in_dollars_of_another_country_is_named() -> None:
    text = "Date,CAD$,USD$\n2025-02-01,-1.00,\n2025-02-02,,-2.00\n"
    assert any("this posting is in USD" in one for one in refused(text, LINE, "s.csv"))


def test_a_mortgage_export_derives_interest_from_the_balances() -> None:
    text = (
        "Opening balance,480000.00\n\nDate,Description,Debit,Credit,Balance\n"
        "2025-02-01,Regular payment,,2762.48,479188.98\n"
        "2025-02-15,Lump sum prepayment,,1000.00,478188.98\n"
    )
    one = read(text, ReadOptions(kind="mortgage"), "s.csv")
    assert rows(one) == [("2025-02-01", "payment", 276248), ("2025-02-15", "prepayment", 100000)]
    assert (one.entries[0].interest_cents, one.entries[0].principal_cents) == (195146, 81102)
    assert one.closing_cents == 47_818_898


def test_an_investment_export_by_its_type_column_and_words() -> None:
    text = (
        "Account type,Investment\nMarket value,820.35\nOpening balance,0.00\n\n"
        "Date,Type,Description,Amount\n"
        "2025-02-03,Deposit,,811.02\n"
        "2025-02-03,Purchase,Example fund,-811.02\n"
        "2025-02-14,Dividend,Example fund return of capital,2.00\n"
        "2025-02-14,Dividend,Dividend reinvested,4.10\n"
        "2025-02-20,Withdrawal,To TFSA,-2.00\n"
    )
    one = read(text, TODAY, "s.csv")
    assert [(e.kind, e.of, e.paid, e.to) for e in one.entries] == [
        ("contribution", None, None, None),
        ("buy", None, None, None),
        ("distribution", "return_of_capital", "cash", None),
        ("distribution", "eligible_dividend", "reinvested", None),
        ("withdrawal", None, None, "registered"),
    ]
    assert (one.opening_cents, one.closing_cents, one.value_cents) == (0, 82035, 82035)


def test_a_file_without_headers_is_read_by_column_number() -> None:
    text = "02/01/2025,Transfer,811.02,,811.02\n02/28/2025,Interest,3.55,,814.57\n"
    columns = (("date", "1"), ("description", "2"), ("debit", "3"), ("credit", "4"))
    one = read(text, replace(LINE, columns=(*columns, ("balance", "5"))), "s.csv")
    assert rows(one) == LINE_ROWS[:2]
    assert (one.opening_cents, one.closing_cents) == (0, 81457)


def test_unsigned_amounts_with_a_debit_or_credit_mark() -> None:
    text = (
        "Date,Description,Type,Amount\n2025-02-01,Transfer,DEBIT,811.02\n"
        "2025-02-28,Interest,Debit,3.55\n2025-02-28,Payment,Crédit,3.55\n"
    )
    assert rows(read(text, LINE, "s.csv")) == LINE_ROWS[:3]
