"""Shapes that come up once a year: transfers, repeats, odd rows, our own tags gone wrong."""

from __future__ import annotations

from datetime import date

import pytest

from ledger.core.formats import values
from ledger.core.formats.summary import summary
from ledger.core.formats.types import ReadOptions, last4
from tests.ledger.formats.samples import INVESTMENT_XML, LINE_SGML, LOAN_XML, OWN_CSV
from tests.ledger.formats.test_ofx import LINE_ROWS, TODAY, read, refused, rows

LINE = ReadOptions(kind="line")
MORTGAGE = ReadOptions(kind="mortgage")

TRANSFER = """<TRANSFER><INVTRAN><FITID>T{n}</FITID><DTTRADE>20250222</DTTRADE></INVTRAN>
<UNITS>{units}</UNITS><UNITPRICE>10.005</UNITPRICE><TFERACTION>{way}</TFERACTION></TRANSFER>
</INVTRANLIST>"""


def test_transfers_of_securities_carry_their_value() -> None:
    text = INVESTMENT_XML.replace("</INVTRANLIST>", TRANSFER.format(n=1, units="-10", way="OUT"))
    text = text.replace("</INVTRANLIST>", TRANSFER.format(n=2, units="3", way="IN"))
    found = [(e.kind, e.amount_cents) for e in read(text).entries if e.date.day == 22]
    assert found == [("transfer-in-kind", 10005), ("contribution", 3002)]
    (problem,) = refused(text.replace("<UNITS>3</UNITS>", ""))
    assert problem.startswith("line 26, UNITPRICE: the transfer gives no value")


def test_what_moves_inside_an_account_or_is_unknown_is_not_a_posting() -> None:
    inside = "<JRNLFUND><INVTRAN><FITID>J</FITID><DTTRADE>20250222</DTTRADE></INVTRAN>"
    inside += "<TOTAL>5.00</TOTAL></JRNLFUND><ODDITY><X>1</X></ODDITY></INVTRANLIST>"
    assert read(INVESTMENT_XML.replace("</INVTRANLIST>", inside)) == read(INVESTMENT_XML)


def test_an_investment_statement_without_a_list_takes_its_date() -> None:
    start, end = INVESTMENT_XML.index("<INVTRANLIST>"), INVESTMENT_XML.index("<INVPOSLIST>")
    one = read(INVESTMENT_XML[:start] + INVESTMENT_XML[end:])
    assert (one.starts, one.ends, one.entries) == (date(2025, 2, 28), date(2025, 2, 28), ())
    bare = INVESTMENT_XML[:start] + INVESTMENT_XML[end:]
    bare = bare.replace("<DTASOF>20250228</DTASOF>", "")
    assert "the statement gives no period" in refused(bare)[0]
    february = (date(2025, 2, 1), date(2025, 2, 28))
    assert read(bare, ReadOptions(period=february)).starts == date(2025, 2, 1)


def test_a_statement_without_postings_or_period() -> None:
    start, end = LINE_SGML.index("<BANKTRANLIST>"), LINE_SGML.index("<LEDGERBAL>")
    bare = LINE_SGML[:start] + LINE_SGML[end:]
    one = read(bare)
    assert (one.starts, one.opening_cents, one.closing_cents) == (one.ends, 81602, 81602)
    assert "gives no period" in refused(bare.replace("<DTASOF>20250228", ""))[0]


@pytest.mark.parametrize(
    ("split", "interest", "principal"),
    [
        ("<PRINAMT>811.02</PRINAMT>", 195146, 81102),
        ("<INTAMT>1951.46</INTAMT>", 195146, 81102),
        ("<INTAMT>2800.00</INTAMT><PRINAMT>-37.52</PRINAMT>", 280000, -3752),
    ],
)
def test_half_a_split_gives_the_other_half(split: str, interest: int, principal: int) -> None:
    old = "<PRINAMT>-811.02</PRINAMT><INTAMT>-1951.46</INTAMT>"
    assert old in LOAN_XML
    entry = read(LOAN_XML.replace(old, split)).entries[0]
    assert (entry.interest_cents, entry.principal_cents) == (interest, principal)


def test_a_loan_fee_an_advance_and_interest_alone_raise_what_is_owed() -> None:
    text = LOAN_XML
    for number, kind in enumerate(("FEE", "ADVANCE", "INT"), start=1):
        posting = (
            f"<LOANSTMTTRN><LOANTRNTYPE>{kind}</LOANTRNTYPE><DTPOSTED>20250220</DTPOSTED>"
            f"<TRNAMT>10.00</TRNAMT><FITID>X{number}</FITID></LOANSTMTTRN></LOANTRANLIST>"
        )
        text = text.replace("</LOANTRANLIST>", posting)
    one = read(text)
    assert [e.kind for e in one.entries[2:]] == ["charge", "advance", "charge"]
    assert one.opening_cents == 48_000_000 - 3000


def test_a_home_equity_loan_is_a_line() -> None:
    text = LOAN_XML.replace("MORTGAGE", "HOMEEQUITY")
    assert [e.kind for e in read(text).entries] == ["repayment", "repayment"]


@pytest.mark.parametrize(
    ("tag", "expected"),
    [
        ("<TOWPATH.KIND>gift", "TOWPATH.KIND: 'gift' is not known here"),
        ("<TOWPATH.COSTFRACTION>2", "TOWPATH.COSTFRACTION: '2' is not a fraction"),
        ("<TOWPATH.PROCEEDS>x", "TOWPATH.PROCEEDS: 'x' is not an amount"),
    ],
)
def test_our_own_tags_are_checked(tag: str, expected: str) -> None:
    (problem,) = refused(LINE_SGML.replace("<FITID>A1", f"<FITID>A1\n{tag}"))
    assert expected in problem


def test_a_rate_that_is_not_one() -> None:
    bal = "<BALLIST><BAL><NAME>Rate<BALTYPE>PERCENT<VALUE>high<DTASOF>20250201</BAL></BALLIST>"
    (problem,) = refused(LINE_SGML.replace("</STMTRS>", bal + "</STMTRS>"))
    assert "'high' is not a rate in percent" in problem


def test_an_available_balance_that_repeats_the_ledger_is_no_limit() -> None:
    assert read(LINE_SGML.replace("<BALAMT>26995.00", "<BALAMT>-816.02")).limit_cents is None


@pytest.mark.parametrize(
    ("kind", "row", "expected"),
    [
        ("investment", "2025-02-01,distribution,1.00", "of: a distribution needs 'of'"),
        ("investment", "2025-02-01,withdrawal,1.00", "to: a withdrawal needs 'to'"),
        ("investment", "2025-02-01,transfer-in-kind,1.00", "to: a transfer-in-kind needs 'to'"),
        ("investment", "2025-02-01,fee,1.00,,,9", "cost_fraction: '9' is not a fraction"),
        ("investment", "2025-02-01,fee,1.00,,,,x", "proceeds: 'x' is not an amount"),
        ("mortgage", "2025-02-01,payment,1.00,0.60,0.60", "principal: interest and principal do"),
    ],
)
def test_our_own_layout_asks_for_what_a_kind_needs(kind: str, row: str, expected: str) -> None:
    text = (
        f"towpath statement,1\nkind,{kind}\nstarts,2025-02-01\nends,2025-02-28\nopening,5.00\n"
        "closing,5.00\ndate,kind,amount,interest,principal,cost_fraction,proceeds,of,paid,to\n"
    )
    problems = refused(f"{text}{row}\n", TODAY, "s.csv")
    assert problems[0].startswith(f"line 8, {expected}"), problems


def test_half_a_split_in_a_csv_gives_the_other_half() -> None:
    head = "Opening balance,100.00\nDate,Description,Amount,{}\n"
    for column, value in (("Interest", "0.40"), ("Capital", "0.60")):
        text = head.format(column) + f"2025-02-01,Payment,1.00,{value}\n"
        (entry,) = read(text, MORTGAGE, "s.csv").entries
        assert (entry.interest_cents, entry.principal_cents) == (40, 60)


def test_interest_rows_of_a_mortgage_export_join_their_payment() -> None:
    text = (
        "Date,Description,Debit,Credit,Balance\n"
        "2025-02-01,Intérêts,1951.46,,481951.46\n"
        "2025-02-01,Paiement,,2762.48,479188.98\n"
        "2025-02-20,Intérêts de retard,5.00,,479193.98\n"
    )
    one = read(text, MORTGAGE, "s.csv")
    assert rows(one) == [("2025-02-01", "payment", 276248), ("2025-02-20", "charge", 500)]
    assert (one.entries[0].interest_cents, one.entries[0].principal_cents) == (195146, 81102)
    assert (one.opening_cents, one.closing_cents) == (48_000_000, 47_919_398)


def test_balances_written_as_rows_are_balances() -> None:
    text = (
        "Date,Description,Debit,Credit,Balance\n"
        ",Opening balance,,,0.00\n"
        "2025-02-01,Transfer,811.02,,811.02\n"
        ",Solde de clôture,,,811.02\n"
    )
    one = read(text, LINE, "s.csv")
    assert rows(one) == LINE_ROWS[:1]
    assert (one.opening_cents, one.closing_cents) == (0, 81102)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Date,Debit,Credit\n2025-02-01,1.00,2.00\n", "line 2, amount: the row has a debit and"),
        ("Date,Debit,Credit\n2025-02-01,,\n", "line 2, amount: the row has no amount"),
        ("Date,Amount\n", "line 1, date: the file has no rows and gives no period"),
        ("Date,Amount,Balance\n2025-02-01,1.00,x\n", "line 2, balance: 'x' is not an amount"),
        ("Period,2025-02-01\nDate,Amount\n2025-02-01,1.00\n", "line 1, period: the period is not"),
        ("Rate,5%\nDate,Amount\n2025-02-01,1.00\n", "line 1, rate: the rate has no date"),
        ("Limit,5\nLimit,6\nDate,Amount\n2025-02-01,1.00\n", "line 2, limit: limit is given twice"),
        ("From,x\nStart date,03/04/2025\nDate,Amount\n2025-02-01,1.00\n", "line 2, starts: '03/04"),
        ("Date,Amount\n2025-02-01," + "1" * 3000 + "\n", "line 2: a cell is longer"),
        ("Date,Amount\n1 of 2 x 2025,1.00\n", "line 2, date: '1 of 2 x 2025' is not a date"),
    ],
)
def test_odd_rows_are_named(text: str, expected: str) -> None:
    problems = refused(text, LINE, "s.csv")
    assert problems[0].startswith(expected), problems


def test_credit_available_gives_the_limit() -> None:
    text = OWN_CSV.replace("limit,27811.02", "available,26995.00")
    assert read(text, file="s.csv").limit_cents == 2781102


@pytest.mark.parametrize("text", ["20250201120000[-15:X]", "18990101", "2025020", "20251301"])
def test_odd_dates_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r".+"):
        values.ofx_date(text, "America/Toronto")


def test_half_hours_of_a_zone_count() -> None:
    assert values.ofx_date("20250201000000[-3.5:NST]", "America/St_Johns") == date(2025, 2, 1)
    assert values.ofx_date("20250131233000[-3.5:NST]", "America/St_Johns") == date(2025, 1, 31)
    assert values.ofx_date("20250201001500[-3.5:NST]", "America/Toronto") == date(2025, 1, 31)


def test_the_answer_has_exactly_the_promised_keys() -> None:
    keys = (
        "file format account currency kind entries opening closing imported already_here problems"
    )
    full = summary("a.ofx", read(LINE_SGML))
    assert " ".join(full) == " ".join(summary("a.ofx", None)) == keys
    assert (full["account"], full["opening"], full["closing"]) == (last4("4567"), "0.00", "816.02")
    entries = full["entries"]
    assert isinstance(entries, list)
    assert entries[0] == {
        "id": "A1",
        "date": "2025-02-01",
        "kind": "draw",
        "amount": "811.02",
        "description": "Transfer to investment",
    }
