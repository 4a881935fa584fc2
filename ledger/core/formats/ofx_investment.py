"""OFX investment statements: purchases, sales, income, transfers, market value."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from decimal import Decimal

from ledger.core.formats.markup import Element
from ledger.core.formats.ofx_fields import Balances, Fields, cost_fraction, said_outright
from ledger.core.formats.types import (
    Format,
    ParsedEntry,
    ParsedStatement,
    account_hash,
    in_date_order,
    last4,
    with_keys,
)
from ledger.core.formats.words import (
    Said,
    Signs,
    destination,
    distribution_of,
    infer,
    joined,
    paid_how,
    plain,
)
from planning.core.money import round_half_up

_NOT_A_POSTING = ("DTSTART", "DTEND")


def read(statement: Element, version: Format, fields: Fields) -> ParsedStatement | None:
    """An INVSTMTRS as a statement whose balances are market values."""
    account = statement.first("INVACCTFROM")
    number = account.value("ACCTID") if account else ""
    if not number:
        fields.faults.add(
            statement.line,
            "ACCTID",
            "the statement names no account",
            "Export the file again with its account number",
        )
    holder = statement.first("INVTRANLIST")
    entries = [
        found
        for one in (holder.children if holder else [])
        if one.name not in _NOT_A_POSTING and (found := _entry(one, fields)) is not None
    ]
    period = _period(statement, holder, entries, fields)
    if period is None:
        return None
    balances = Balances(statement, fields)
    closing = _market_value(statement, fields)
    hashed = account_hash(number)
    return ParsedStatement(
        format=version,
        account_last4=last4(number),
        account_hash=hashed,
        currency=fields.currency(statement),
        kind="investment",
        starts=period[0],
        ends=period[1],
        opening_cents=balances.opening,
        closing_cents=closing if closing is not None else balances.value,
        limit_cents=None,
        value_cents=balances.value if balances.value is not None else closing,
        rates=balances.rates,
        entries=with_keys(hashed, in_date_order(entries)),
        line=statement.line,
    )


def _period(
    statement: Element, holder: Element | None, entries: list[ParsedEntry], fields: Fields
) -> tuple[date, date] | None:
    if fields.options.period:
        return fields.options.period
    starts = fields.day(holder, "DTSTART", needed=False) if holder else None
    ends = fields.day(holder, "DTEND", needed=False) if holder else None
    as_of = fields.day(statement, "DTASOF", needed=False)
    days = sorted(one.date for one in entries)
    starts = starts or (days[0] if days else as_of)
    ends = ends or as_of or (days[-1] if days else None)
    if starts is None or ends is None:
        fields.faults.add(
            statement.line,
            "DTSTART",
            "the statement gives no period",
            "Export it with first and last day, or give --period",
        )
        return None
    return starts, ends


def _market_value(statement: Element, fields: Fields) -> int | None:
    """Cash plus the market value of every position, in cents; None when neither is given."""
    total, found = 0, False
    for one in statement.all("INVBAL"):
        cash = fields.cents(one, "AVAILCASH", needed=False)
        total, found = total + (cash or 0), found or cash is not None
    for position in (two for one in statement.all("INVPOSLIST") for two in one.children):
        inner = position.first("INVPOS") or position
        value = fields.cents(inner, "MKTVAL")
        total, found = total + (value or 0), True
    return total if found else None


def _entry(posting: Element, fields: Fields) -> ParsedEntry | None:
    if posting.name == "INVBANKTRAN":
        return _bank_entry(posting, fields)
    holder = posting.first("INVBUY", "INVSELL") or posting
    head = holder.first("INVTRAN")
    if head is None:
        return None  # an element of some other kind: skipped, as the OFX rules ask
    day = fields.day(head, "DTTRADE")
    description = joined((head.value("MEMO"),))
    words = plain(description)
    said = _said(posting, holder, words)
    if said is None:
        return None
    cents = _amount(posting, holder, fields)
    if day is None or cents is None:
        return None
    entry = ParsedEntry(
        date=day,
        sequence=0,
        kind=said.kind,
        amount_cents=abs(cents),
        description=description,
        external_id=head.value("FITID"),
        of=said.of,
        paid=said.paid,
        to=said.to,
        line=posting.line,
    )
    return _with_tags(entry, said, posting, fields)


def _said(posting: Element, holder: Element, words: str) -> Said | None:
    """The kind of an investment posting by its element; None for one we do not book."""
    name = posting.name
    if name.startswith("BUY"):
        return Said("buy")
    if name.startswith("SELL"):
        return Said("sell")
    if name in ("INCOME", "REINVEST"):
        of = distribution_of(words, holder.value("INCOMETYPE").upper())
        paid = "reinvested" if name == "REINVEST" else paid_how(words)
        return Said("distribution", of=of, paid=paid)
    if name == "RETOFCAP":
        return Said("distribution", of="return_of_capital", paid=paid_how(words))
    if name in ("INVEXPENSE", "MARGININTEREST"):
        return Said("fee")
    if name == "TRANSFER":
        incoming = holder.value("TFERACTION").upper() == "IN"
        return Said("contribution") if incoming else Said("transfer-in-kind")
    if name in ("JRNLFUND", "JRNLSEC", "SPLIT", "CLOSUREOPT"):
        return None  # moves inside the account
    return Said("fee") if name == "FEE" else None


def _amount(posting: Element, holder: Element, fields: Fields) -> int | None:
    if posting.name != "TRANSFER" or holder.first("TOTAL"):
        return fields.cents(holder, "TOTAL")
    try:
        units, price = holder.value("UNITS"), holder.value("UNITPRICE")
        return round_half_up(_exact(units) * _exact(price) * 100)
    except ValueError:
        fields.faults.add(
            posting.line,
            "UNITPRICE",
            "the transfer gives no value",
            "Export it with units and unit price, or enter it by hand",
        )
        return None


def _exact(text: str) -> Decimal:
    if not re.fullmatch(r"[+-]?[0-9]{1,13}(?:[.,][0-9]{1,10})?", text):
        raise ValueError("not a quantity")
    return Decimal(text.replace(",", "."))


def _bank_entry(posting: Element, fields: Fields) -> ParsedEntry | None:
    one = posting.first("STMTTRN")
    if one is None:
        return None
    day = fields.day(one, "DTPOSTED")
    cents = fields.cents(one, "TRNAMT")
    if day is None or cents is None:
        return None
    description = joined((one.value("NAME"), one.value("MEMO")))
    signs = Signs(up=cents > 0, type=one.value("TRNTYPE").upper(), words=plain(description))
    said = infer("investment", signs)
    entry = ParsedEntry(
        date=day,
        sequence=0,
        kind=said.kind,
        amount_cents=abs(cents),
        description=description,
        external_id=one.value("FITID"),
        line=posting.line,
    )
    return _with_tags(entry, said, one, fields)


def _with_tags(entry: ParsedEntry, said: Said, element: Element, fields: Fields) -> ParsedEntry:
    said = said_outright(element, "investment", said, fields)
    to = said.to
    if said.kind == "withdrawal" and to is None:
        to = destination(plain(entry.description))
    return replace(
        entry,
        kind=said.kind,
        of=said.of,
        paid=said.paid,
        to=to,
        source=element.value("TOWPATH.FROM") or None,
        proceeds_cents=fields.cents(element, "TOWPATH.PROCEEDS", needed=False),
        cost_fraction=cost_fraction(element, fields),
    )
