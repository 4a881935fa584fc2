"""Statements written as OFX 1.x, OFX 2.x or CSV, so that reading gives them back.

For every statement `s` whose account hash is that of `number`, and each writer,
reading the text gives `s` again but for its `format`. Standard elements carry
what OFX has a place for; our own `TOWPATH.` elements, which other readers skip,
carry a kind or use only where the standard elements and words would not say it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date

from ledger.core.formats import values
from ledger.core.formats.render_markup import Sgml, Writer, Xml
from ledger.core.formats.types import ParsedEntry, ParsedStatement, account_hash
from ledger.core.formats.words import Said, Signs, infer, is_mortgage_interest, plain
from planning.core.money import text_from_cents

_TYPES = {
    "draw": "DEBIT",
    "repayment": "CREDIT",
    "interest": "INT",
    "fee": "FEE",
    "payment": "PAYMENT",
    "prepayment": "PAYMENT",
    "charge": "FEE",
    "advance": "ADVANCE",
    "debit": "DEBIT",
    "credit": "CREDIT",
    "contribution": "CREDIT",
    "withdrawal": "DEBIT",
    "transfer-in-kind": "XFER",
    "distribution": "DIV",
    "buy": "DEBIT",
    "sell": "CREDIT",
}
_LOWERS = ("repayment", "payment", "prepayment", "debit")
_OUT = ("withdrawal", "transfer-in-kind", "buy", "fee")


def render_ofx1(statement: ParsedStatement, number: str) -> str:
    """The statement as OFX 1.6 SGML in UTF-8; leaf elements are not closed."""
    head = (
        "OFXHEADER:100\nDATA:OFXSGML\nVERSION:160\nSECURITY:NONE\nENCODING:UTF-8\n"
        "CHARSET:NONE\nCOMPRESSION:NONE\nOLDFILEUID:NONE\nNEWFILEUID:NONE\n\n"
    )
    return head + _document(statement, number, Sgml())


def render_ofx2(statement: ParsedStatement, number: str) -> str:
    """The statement as OFX 2.2 XML in UTF-8."""
    head = (
        '<?xml version="1.0" encoding="UTF-8" standalone="no"?>\n'
        '<?OFX OFXHEADER="200" VERSION="220" SECURITY="NONE" OLDFILEUID="NONE" '
        'NEWFILEUID="NONE"?>\n'
    )
    return head + _document(statement, number, Xml())


def _document(one: ParsedStatement, number: str, write: Writer) -> str:
    assert account_hash(number) == one.account_hash, "the number is not this statement's"
    body: dict[str | None, Callable[[ParsedStatement, str, Writer], None]] = {
        "line": _bank,
        None: _bank,
        "mortgage": _loan,
        "investment": _investment,
    }
    with write.inside("OFX"):
        with write.inside("SIGNONMSGSRSV1"), write.inside("SONRS"):
            _status(write)
            write.leaf("DTSERVER", _day(one.ends))
            write.leaf("LANGUAGE", "ENG")
        body[one.kind](one, number, write)
    return write.text()


def _status(write: Writer) -> None:
    with write.inside("STATUS"):
        write.leaf("CODE", "0")
        write.leaf("SEVERITY", "INFO")


def _answer(prefix: str, one: ParsedStatement, write: Writer) -> None:
    write.leaf("TRNUID", f"{prefix}-{one.ends.isoformat()}")
    _status(write)


def _bank(one: ParsedStatement, number: str, write: Writer) -> None:
    debt = one.kind == "line"
    with write.inside("BANKMSGSRSV1"), write.inside("STMTTRNRS"):
        _answer("bank", one, write)
        with write.inside("STMTRS"):
            write.leaf("CURDEF", one.currency)
            with write.inside("BANKACCTFROM"):
                write.leaf("BANKID", "000000000")
                write.leaf("ACCTID", number)
                write.leaf("ACCTTYPE", "CREDITLINE" if debt else "CHECKING")
            with write.inside("BANKTRANLIST"):
                _period(one, write)
                for entry in one.entries:
                    raises = entry.kind not in _LOWERS
                    sign = -1 if raises == debt else 1
                    _bank_posting(one, entry, sign, write)
            if one.closing_cents is not None:
                _balance("LEDGERBAL", -one.closing_cents if debt else one.closing_cents, one, write)
            if debt and one.limit_cents is not None and one.closing_cents is not None:
                _balance("AVAILBAL", max(0, one.limit_cents - one.closing_cents), one, write)
            _balance_list(one, write)


def _bank_posting(one: ParsedStatement, entry: ParsedEntry, sign: int, write: Writer) -> None:
    with write.inside("STMTTRN"):
        _posting_head(entry, "TRNTYPE", sign, write)
        up = entry.amount_cents * sign * (-1 if one.kind == "line" else 1) > 0
        kind = _TYPES[entry.kind]
        zero = entry.amount_cents == 0 and kind in ("INT", "FEE")
        signs = Signs(up=up or zero, type=kind, words=plain(entry.description))
        _own_tags(entry, infer(one.kind, signs), write)


def _posting_head(entry: ParsedEntry, type_name: str, sign: int, write: Writer) -> None:
    write.leaf(type_name, _TYPES[entry.kind])
    write.leaf("DTPOSTED", _day(entry.date))
    write.leaf("TRNAMT", text_from_cents(sign * entry.amount_cents))
    write.leaf("FITID", entry.external_id)
    short = len(entry.description) <= 32
    write.leaf("NAME" if short else "MEMO", entry.description)


def _loan(one: ParsedStatement, number: str, write: Writer) -> None:
    with write.inside("LOANMSGSRSV1"), write.inside("LOANSTMTTRNRS"):
        _answer("loan", one, write)
        with write.inside("LOANSTMTRS"):
            write.leaf("CURDEF", one.currency)
            with write.inside("LOANACCTFROM"):
                write.leaf("LOANACCTID", number)
                write.leaf("LOANACCTTYPE", "MORTGAGE")
            with write.inside("LOANTRANLIST"):
                _period(one, write)
                for entry in one.entries:
                    _loan_posting(entry, write)
            if one.closing_cents is not None:
                _balance("PRINBAL", one.closing_cents, one, write)
            _balance_list(one, write)


def _loan_posting(entry: ParsedEntry, write: Writer) -> None:
    raises = entry.kind not in _LOWERS
    with write.inside("LOANSTMTTRN"):
        _posting_head(entry, "LOANTRNTYPE", 1 if raises else -1, write)
        if entry.principal_cents is not None and entry.interest_cents is not None:
            with write.inside("LOANTRNAMT"):
                write.leaf("PRINAMT", text_from_cents(entry.principal_cents))
                write.leaf("INTAMT", text_from_cents(entry.interest_cents))
        signs = Signs(up=raises, type=_TYPES[entry.kind], words=plain(entry.description))
        _own_tags(entry, infer("mortgage", signs), write, always=is_mortgage_interest(signs))


def _investment(one: ParsedStatement, number: str, write: Writer) -> None:
    with write.inside("INVSTMTMSGSRSV1"), write.inside("INVSTMTTRNRS"):
        _answer("investment", one, write)
        with write.inside("INVSTMTRS"):
            write.leaf("DTASOF", _day(one.ends))
            write.leaf("CURDEF", one.currency)
            with write.inside("INVACCTFROM"):
                write.leaf("BROKERID", "example")
                write.leaf("ACCTID", number)
            with write.inside("INVTRANLIST"):
                _period(one, write)
                for entry in one.entries:
                    _investment_posting(entry, write)
            with write.inside("INVBAL"):
                if one.closing_cents is not None:
                    write.leaf("AVAILCASH", text_from_cents(one.closing_cents))
                write.leaf("MARGINBALANCE", "0.00")
                write.leaf("SHORTBALANCE", "0.00")
                _balance_list(one, write)


def _investment_posting(entry: ParsedEntry, write: Writer) -> None:
    trade = {"buy": ("BUYOTHER", "INVBUY"), "sell": ("SELLOTHER", "INVSELL")}.get(entry.kind)
    if trade:
        sign = -1 if entry.kind == "buy" else 1
        with write.inside(trade[0]):
            with write.inside(trade[1]):
                _trade_body(entry, sign, write)
            _own_tags(entry, Said(entry.kind), write)
        return
    if entry.kind == "distribution":
        _income(entry, write)
        return
    sign = -1 if entry.kind in _OUT else 1
    with write.inside("INVBANKTRAN"):
        with write.inside("STMTTRN"):
            _posting_head(entry, "TRNTYPE", sign, write)
            signs = Signs(
                up=sign * entry.amount_cents > 0,
                type=_TYPES[entry.kind],
                words=plain(entry.description),
            )
            _own_tags(entry, infer("investment", signs), write)
        write.leaf("SUBACCTFUND", "CASH")


_INCOME_TYPE = {
    "eligible_dividend": "DIV",
    "other_dividend": "DIV",
    "foreign": "DIV",
    "interest": "INTEREST",
    "capital_gain": "CGLONG",
}


def _income(entry: ParsedEntry, write: Writer) -> None:
    name = "REINVEST" if entry.paid == "reinvested" else "INCOME"
    capital = entry.of == "return_of_capital"
    name = "RETOFCAP" if capital else name
    with write.inside(name):
        if not capital:
            write.leaf("INCOMETYPE", _INCOME_TYPE[entry.of or "eligible_dividend"])
        _trade_body(entry, 1, write)
        # The words may say another kind of income than the element does: be explicit.
        write.leaf("TOWPATH.OF", entry.of or "none")
        write.leaf("TOWPATH.PAID", entry.paid or "cash")
        _own_tags(entry, Said(entry.kind, entry.of, entry.paid, entry.to), write)


def _trade_body(entry: ParsedEntry, sign: int, write: Writer) -> None:
    with write.inside("INVTRAN"):
        write.leaf("FITID", entry.external_id)
        write.leaf("DTTRADE", _day(entry.date))
        write.leaf("MEMO", entry.description)
    write.leaf("TOTAL", text_from_cents(sign * entry.amount_cents))
    write.leaf("SUBACCTFUND", "CASH")


def _own_tags(entry: ParsedEntry, inferred: Said, write: Writer, *, always: bool = False) -> None:
    if inferred.kind != entry.kind or always:
        write.leaf("TOWPATH.KIND", entry.kind)
        inferred = Said(entry.kind) if inferred.kind != entry.kind else inferred
    pairs = (
        ("TOWPATH.OF", entry.of or "none", inferred.of or "none"),
        ("TOWPATH.PAID", entry.paid or "", inferred.paid or ""),
        ("TOWPATH.TO", entry.to or "", inferred.to or ""),
        ("TOWPATH.FROM", entry.source or "", ""),
    )
    for name, value, known in pairs:
        if value != known:
            write.leaf(name, value)
    if entry.proceeds_cents is not None:
        write.leaf("TOWPATH.PROCEEDS", text_from_cents(entry.proceeds_cents))
    if entry.cost_fraction is not None:
        write.leaf("TOWPATH.COSTFRACTION", f"{entry.cost_fraction:f}")


def _period(one: ParsedStatement, write: Writer) -> None:
    write.leaf("DTSTART", _day(one.starts))
    write.leaf("DTEND", _day(one.ends))


def _balance(name: str, cents: int, one: ParsedStatement, write: Writer) -> None:
    with write.inside(name):
        write.leaf("BALAMT", text_from_cents(cents))
        write.leaf("DTASOF", _day(one.ends))


def _balance_list(one: ParsedStatement, write: Writer) -> None:
    rows = list(_named_balances(one))
    if not rows:
        return
    with write.inside("BALLIST"):
        for name, kind, value, day in rows:
            with write.inside("BAL"):
                write.leaf("NAME", name)
                write.leaf("DESC", name)
                write.leaf("BALTYPE", kind)
                write.leaf("VALUE", value)
                write.leaf("DTASOF", _day(day))


def _named_balances(one: ParsedStatement) -> Iterator[tuple[str, str, str, date]]:
    if one.opening_cents is not None:
        yield "Opening", "DOLLAR", text_from_cents(one.opening_cents), one.starts
    if one.limit_cents is not None:
        yield "Limit", "DOLLAR", text_from_cents(one.limit_cents), one.ends
    if one.value_cents is not None:
        yield "Market value", "DOLLAR", text_from_cents(one.value_cents), one.ends
    for day, rate in one.rates:
        yield "Rate", "PERCENT", values.percent_text(rate), day


def _day(day: date) -> str:
    return day.strftime("%Y%m%d")
