"""OFX statements: what is read, and what is said when it cannot be."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from config.problems import BadInput
from ledger.core.formats.reading import read_statements
from ledger.core.formats.types import ParsedStatement, ReadOptions
from tests.ledger.formats.samples import INVESTMENT_XML, LINE_SGML, LOAN_XML

TODAY = ReadOptions(today=date(2026, 5, 1))


def read(text: str | bytes, options: ReadOptions = TODAY, file: str = "s.ofx") -> ParsedStatement:
    data = text.encode() if isinstance(text, str) else text
    (one,) = read_statements(data, file, options)
    return one


def refused(text: str | bytes, options: ReadOptions = TODAY, file: str = "s.ofx") -> list[str]:
    with pytest.raises(BadInput) as caught:
        read(text, options, file)
    return [f"{one.where}: {one.message}" for one in caught.value.problems]


def rows(one: ParsedStatement) -> list[tuple[str, str, int]]:
    return [(entry.date.isoformat(), entry.kind, entry.amount_cents) for entry in one.entries]


LINE_ROWS = [
    ("2025-02-01", "draw", 81102),
    ("2025-02-28", "interest", 355),
    ("2025-02-28", "repayment", 355),
    ("2025-02-28", "fee", 500),
]


def test_a_credit_line_with_a_negative_ledger_balance_is_what_is_owed() -> None:
    one = read(LINE_SGML)
    assert (one.kind, one.format, one.currency, one.account_last4) == (
        "line",
        "ofx1",
        "CAD",
        "4567",
    )
    assert (one.opening_cents, one.closing_cents, one.limit_cents) == (0, 81602, 2781102)
    assert (one.starts, one.ends) == (date(2025, 2, 1), date(2025, 2, 28))
    assert rows(one) == LINE_ROWS
    assert one.entries[1].description == "Intérêts débiteurs"
    assert [entry.external_id for entry in one.entries] == ["A1", "A2", "A3", "A4"]


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.encode("cp1252"),
        lambda text: ("\ufeff" + text).encode(),
        lambda text: text.replace("\n", "\r\n").encode(),
        lambda text: (
            text[: text.index("<OFX>")].encode()
            + text[text.index("<OFX>") :].replace("\n", "").encode()
        ),
        lambda text: text[text.index("<OFX>") :].encode(),
        lambda text: text.replace(
            "<FITID>A1", "<INTU.XYZ>7\n<UNKNOWN><ODD>1</UNKNOWN>\n<FITID>A1"
        ).encode(),
        lambda text: text.replace("<CODE>0", "<CODE>0<!-- a comment -->").encode(),
        lambda text: (text + "\x1a").encode(),
    ],
    ids=["cp1252", "bom", "crlf", "one line", "no header", "unknown tags", "comment", "ctrl-z"],
)
def test_the_same_statement_in_other_clothes_reads_the_same(change) -> None:
    assert read(change(LINE_SGML)) == read(LINE_SGML)


def test_a_bare_ampersand_and_the_five_entities_and_no_other() -> None:
    text = LINE_SGML.replace(
        "Transfer to investment", "Fish & chips &amp; a &lt;b&gt; &eacute; &#65;"
    )
    assert read(text).entries[0].description == "Fish & chips & a <b> &eacute; &#65;"


def test_the_date_is_taken_in_the_household_zone_never_in_utc() -> None:
    text = LINE_SGML.replace("<DTPOSTED>20250201\n", "<DTPOSTED>20250131230000[-5:EST]\n").replace(
        "<DTSTART>20250201", "<DTSTART>20250101"
    )
    assert read(text).entries[0].date == date(2025, 1, 31)
    late = text.replace("20250131230000[-5:EST]", "20250201043000[0:GMT]")
    assert read(late).entries[0].date == date(2025, 1, 31)
    west = ReadOptions(today=date(2026, 5, 1), zone="America/Vancouver")
    early = text.replace("20250131230000[-5:EST]", "20250201020000[-5:EST]")
    assert read(early).entries[0].date == date(2025, 2, 1)
    assert read(early, west).entries[0].date == date(2025, 1, 31)


def test_a_card_statement_is_a_line() -> None:
    text = (
        LINE_SGML.replace("BANKMSGSRSV1", "CREDITCARDMSGSRSV1")
        .replace("STMTTRNRS", "CCSTMTTRNRS")
        .replace("STMTRS", "CCSTMTRS")
        .replace("BANKACCTFROM", "CCACCTFROM")
        .replace("<BANKID>000000001", "")
        .replace("<ACCTTYPE>CREDITLINE", "")
    )
    assert rows(read(text)) == LINE_ROWS


def test_a_loan_statement_gives_payment_split_and_prepayment() -> None:
    one = read(LOAN_XML)
    assert (one.kind, one.format) == ("mortgage", "ofx2")
    assert (one.opening_cents, one.closing_cents) == (48_000_000, 47_818_898)
    assert rows(one) == [("2025-02-01", "payment", 276248), ("2025-02-15", "prepayment", 100000)]
    assert (one.entries[0].interest_cents, one.entries[0].principal_cents) == (195146, 81102)


def test_a_payment_split_that_does_not_add_up_is_named() -> None:
    (problem,) = refused(LOAN_XML.replace("<INTAMT>-1951.46", "<INTAMT>-1951.40"))
    assert problem.startswith("line 8, LOANTRNAMT")
    assert "do not add up" in problem


MORTGAGE_AS_BANK_ACCOUNT = """\
<OFX><BANKMSGSRSV1><STMTTRNRS><STMTRS><CURDEF>CAD
<BANKACCTFROM><ACCTID>88<ACCTTYPE>CHECKING</BANKACCTFROM>
<BANKTRANLIST><DTSTART>20250201<DTEND>20250228
<STMTTRN><TRNTYPE>INT<DTPOSTED>20250201<TRNAMT>-1951.46<FITID>1<NAME>Interest</STMTTRN>
<STMTTRN><TRNTYPE>PAYMENT<DTPOSTED>20250201<TRNAMT>2762.48<FITID>2<NAME>Payment</STMTTRN>
<STMTTRN><TRNTYPE>PAYMENT<DTPOSTED>20250215<TRNAMT>100.00<FITID>3<NAME>Versement anticipé</STMTTRN>
</BANKTRANLIST><LEDGERBAL><BALAMT>-479088.98<DTASOF>20250228</LEDGERBAL>
</STMTRS></STMTTRNRS></BANKMSGSRSV1></OFX>
"""


@pytest.mark.parametrize("positive", [False, True])
def test_a_mortgage_kept_as_a_bank_account_folds_its_interest(*, positive: bool) -> None:
    text = MORTGAGE_AS_BANK_ACCOUNT
    if positive:  # the other convention: a positive balance, payments negative
        text = text.replace("-479088.98", "479088.98").replace("-1951.46", "1951.46")
        text = text.replace(">2762.48", ">-2762.48").replace(">100.00", ">-100.00")
    one = read(text, ReadOptions(kind="mortgage"))
    assert rows(one) == [("2025-02-01", "payment", 276248), ("2025-02-15", "prepayment", 10000)]
    assert one.entries[0].interest_cents == 195146
    assert (one.opening_cents, one.closing_cents) == (48_000_000, 47_908_898)


def test_an_account_of_no_known_kind_keeps_debits_and_credits() -> None:
    one = read(MORTGAGE_AS_BANK_ACCOUNT)
    assert one.kind is None
    assert [entry.kind for entry in one.entries] == ["debit", "credit", "credit"]


def test_an_investment_statement() -> None:
    one = read(INVESTMENT_XML)
    assert (one.kind, one.closing_cents, one.value_cents) == ("investment", 82035, 82035)
    assert one.opening_cents is None
    found = [(e.kind, e.amount_cents, e.of, e.paid, e.to) for e in one.entries]
    assert found == [
        ("contribution", 81102, None, None, None),
        ("buy", 81102, None, None, None),
        ("distribution", 410, "eligible_dividend", "cash", None),
        ("distribution", 120, "foreign", "reinvested", None),
        ("distribution", 200, "return_of_capital", "cash", None),
        ("sell", 10000, None, None, None),
        ("withdrawal", 10200, None, None, "mortgage"),
        ("fee", 100, None, None, None),
    ]


def test_rates_opening_and_limit_of_a_balance_list() -> None:
    bal = "<BALLIST><BAL><NAME>{}<BALTYPE>{}<VALUE>{}<DTASOF>20250201</BAL></BALLIST></STMTRS>"
    text = LINE_SGML.replace("</STMTRS>", bal.format("Rate", "PERCENT", "5.70"))
    text = text.replace("</STMTRS>", bal.format("Opening balance", "DOLLAR", "0.00"))
    text = text.replace("</STMTRS>", bal.format("Credit limit", "DOLLAR", "30000.00"))
    one = read(text)
    assert one.rates == ((date(2025, 2, 1), Decimal("0.057")),)
    assert (one.opening_cents, one.limit_cents) == (0, 3_000_000)
    (problem,) = refused(text.replace("<VALUE>0.00", "<VALUE>10.00"))
    assert "do not give closing" in problem
    assert "-10.00 is missing" in problem
    read(text.replace("<VALUE>0.00", "<VALUE>10.00"), ReadOptions(accept_gap=True))


def test_rows_without_ids_get_stable_keys_that_tell_equals_apart() -> None:
    text = (
        LINE_SGML.replace("<FITID>A1\n", "").replace("<FITID>A2\n", "").replace("<FITID>A3\n", "")
    )
    twice = text.replace("<TRNTYPE>INT", "<TRNTYPE>DEBIT").replace("-3,55", "-3.55")
    first = [entry.external_id for entry in read(twice).entries]
    assert first == [entry.external_id for entry in read(twice).entries]
    assert len(set(first)) == 4
    same = twice.replace("Intérêts débiteurs", "Payment - thank you")
    assert len({entry.external_id for entry in read(same).entries}) == 4


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("<TRNAMT>-811.02", "<TRNAMT>-811.0.2", "line 24, TRNAMT: '-811.0.2' is not an amount"),
        ("<TRNAMT>-811.02", "<TRNAMT>-8e2", "line 24, TRNAMT: '-8e2' is not an amount"),
        ("<TRNAMT>-811.02", "<TRNAMT>-811.021", "line 24, TRNAMT: '-811.021' is not an amount"),
        ("<TRNAMT>-811.02", "<TRNAMT>NaN", "line 24, TRNAMT: 'NaN' is not an amount"),
        (
            "<TRNAMT>-811.02",
            "<TRNAMT>" + "9" * 14,
            "line 24, TRNAMT: '99999999999999' is not an amount",
        ),
        ("<DTPOSTED>20250201\n", "", "line 21, DTPOSTED: <DTPOSTED> is missing"),
        (
            "<DTPOSTED>20250201\n",
            "<DTPOSTED>20250231\n",
            "line 23, DTPOSTED: '20250231' is not a date",
        ),
        ("<BALAMT>-816.02", "<BALAMT>", "line 50, BALAMT: <BALAMT> is empty"),
        ("<CURDEF>CAD", "<CURDEF>USD", "line 15, currency: the statement is in USD"),
        ("<CURDEF>CAD\n", "", "line 15, currency: the statement is in no stated currency"),
        ("<ACCTID>900-1234567", "", "line 15, ACCTID: the statement names no account"),
        ("<FITID>A2", "<FITID>A1", "line 28, id: the id 'A1' is already used on line 21"),
        ("<DTEND>20250228", "<DTEND>20250227", "line 28, date: 2025-02-28 lies outside"),
        (
            "<DTEND>20250228",
            "<DTEND>20270228",
            "line 15, ends: the statement ends on 2027-02-28, after today",
        ),
        (
            "<DTASOF>20250228</LEDGERBAL>",
            "<DTASOF>20250210</LEDGERBAL>",
            "line 50, DTASOF: the balance is of 2025-02-10",
        ),
        ("</BANKTRANLIST>", "", "line 18, BANKTRANLIST: <BANKTRANLIST> is never closed"),
        (
            "<OFX>",
            '<!DOCTYPE x [<!ENTITY a "b">]><OFX>',
            "line 11: the file declares a document type",
        ),
        ("<NAME>Annual fee", "<NAME>Annual \x00fee", "line 47: the file holds a NUL byte"),
    ],
)
def test_each_fault_is_named_with_its_line_and_field(old: str, new: str, expected: str) -> None:
    assert old in LINE_SGML
    problems = refused(LINE_SGML.replace(old, new, 1))
    assert any(one.startswith(expected) for one in problems), problems


def test_all_faults_come_at_once() -> None:
    text = LINE_SGML.replace("-811.02", "x").replace("<DTPOSTED>20250228", "<DTPOSTED>soon")
    assert len(refused(text)) == 4


def test_a_posting_in_another_currency_is_named() -> None:
    text = LINE_SGML.replace("<FITID>A1", "<CURRENCY><CURRATE>1.4<CURSYM>USD</CURRENCY><FITID>A1")
    assert "this posting is in USD" in refused(text)[0]


@pytest.mark.parametrize("cut", [500, 700, 850, 950, -9])
def test_a_cut_file_says_where_it_ends(cut: int) -> None:
    problems = refused(LINE_SGML[:cut])
    assert any("the file ends inside <" in one and one.startswith("line ") for one in problems)


def test_an_account_named_csv_but_holding_ofx_and_the_reverse() -> None:
    assert "named as CSV" in refused(LINE_SGML, file="s.csv")[0]
    assert "no <OFX> element" in refused("date,amount\n2025-01-01,1.00\n", file="s.qfx")[0]
