"""OFX statements of banks, cards and loans: from the tree to `ParsedStatement`."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from ledger.core.formats import ofx_investment
from ledger.core.formats.balance import check_statement, derived
from ledger.core.formats.faults import Faults
from ledger.core.formats.markup import Element, read_markup
from ledger.core.formats.ofx_fields import Balances, Fields, cost_fraction, said_outright
from ledger.core.formats.types import (
    Format,
    ParsedEntry,
    ParsedStatement,
    ReadOptions,
    account_hash,
    in_date_order,
    last4,
    with_keys,
)
from ledger.core.formats.words import (
    Signs,
    infer,
    is_mortgage_interest,
    joined,
    plain,
    raises_debt,
)
from planning.core.household_parts import AccountType

_SETS = (
    ("BANKMSGSRSV1", "STMTTRNRS", "STMTRS"),
    ("CREDITCARDMSGSRSV1", "CCSTMTTRNRS", "CCSTMTRS"),
    ("LOANMSGSRSV1", "LOANSTMTTRNRS", "LOANSTMTRS"),
    ("INVSTMTMSGSRSV1", "INVSTMTTRNRS", "INVSTMTRS"),
)
_LOAN_UP = {"PAYMENT": False, "BALLOON": False, "FEE": True, "LATE": True, "INT": True} | {
    "ADVANCE": True
}


def looks_like_ofx(text: str) -> bool:
    """Whether the text begins as OFX does."""
    start = text[:4000].upper()
    return "<OFX>" in start or "OFXHEADER" in start or "<?OFX" in start


def read_ofx(text: str, faults: Faults, options: ReadOptions) -> tuple[ParsedStatement, ...]:
    """Every statement of an OFX file. Raises BadInput with all that is wrong."""
    start = text.upper().find("<OFX>")
    head = text[: start if start >= 0 else 0].upper()
    version: Format = "ofx2" if "<?XML" in head or "<?OFX" in head else "ofx1"
    root = read_markup(text, faults).first("OFX")
    assert root is not None
    fields = Fields(faults, options)
    found: list[ParsedStatement] = []
    answers = 0
    for message_set, response, name in _SETS:
        for answer in (two for one in root.all(message_set) for two in one.all(response)):
            for element in answer.all(name):
                answers += 1
                if name == "INVSTMTRS":
                    one = ofx_investment.read(element, version, fields)
                else:
                    one = _read(element, version, fields)
                if one is not None:
                    check_statement(one, options, faults)
                    found.append(one)
    if not answers:
        _no_statement(root, faults)
    faults.stop_if_any()
    return tuple(found)


def _no_statement(root: Element, faults: Faults) -> None:
    faults.add(
        root.line,
        "OFX",
        "the file holds no statement",
        "Export a bank, credit line, loan or investment statement of one account",
    )


@dataclass(frozen=True, slots=True)
class _Row:
    """A posting before its kind is known; `cents` signed as the bank signs it."""

    day: date
    cents: int
    type: str
    description: str
    element: Element


def _read(statement: Element, version: Format, fields: Fields) -> ParsedStatement | None:
    loan = statement.name == "LOANSTMTRS"
    account = statement.first("BANKACCTFROM", "CCACCTFROM", "LOANACCTFROM")
    number = account.value("ACCTID", "LOANACCTID") if account else ""
    if not number:
        fields.faults.add(
            statement.line,
            "ACCTID",
            "the statement names no account",
            "Export the file again with its account number",
        )
    kind = fields.options.kind or _kind(statement, account)
    rows_in = statement.first("BANKTRANLIST", "LOANTRANLIST")
    rows = _rows(rows_in, fields) if rows_in else []
    balance = statement.first("PRINBAL", "PRINCIPALBAL", "LOANPRINBAL", "LEDGERBAL")
    stated = fields.cents(balance, "BALAMT") if balance else None
    up_sign = _up_sign(kind, stated, rows)
    entries = _entries(rows, kind, up_sign, loan, fields)
    period = _period(rows_in, statement, balance, entries, fields)
    if period is None:
        return None
    closing = stated
    if stated is not None and kind == "mortgage":
        closing = abs(stated)
    elif stated is not None and kind == "line":
        closing = abs(stated) if loan else -stated
    if balance and stated is not None and entries and not fields.options.accept_gap:
        _check_as_of(balance, entries, fields)
    balances = Balances(statement, fields)
    hashed = account_hash(number)
    keyed = with_keys(hashed, in_date_order(entries))
    opening, closing = derived(kind, balances.opening, closing, keyed)
    return ParsedStatement(
        format=version,
        account_last4=last4(number),
        account_hash=hashed,
        currency=fields.currency(statement),
        kind=kind,
        starts=period[0],
        ends=period[1],
        opening_cents=opening,
        closing_cents=closing,
        limit_cents=_limit(statement, kind, stated, closing, balances, fields),
        value_cents=balances.value if kind != "investment" else balances.value or closing,
        rates=balances.rates,
        entries=keyed,
        line=statement.line,
    )


def _kind(statement: Element, account: Element | None) -> AccountType | None:
    if statement.name == "CCSTMTRS":
        return "line"
    if statement.name == "LOANSTMTRS":
        kind = account.value("LOANACCTTYPE", "ACCTTYPE").upper() if account else ""
        return "line" if kind in ("HOMEEQUITY", "LINEOFCREDIT", "CREDITLINE") else "mortgage"
    kind = account.value("ACCTTYPE").upper() if account else ""
    return "line" if kind == "CREDITLINE" else None


def _rows(holder: Element, fields: Fields) -> list[_Row]:
    rows: list[_Row] = []
    for one in holder.all("STMTTRN", "LOANSTMTTRN"):
        day = fields.day(one, "DTPOSTED")
        cents = fields.cents(one, "TRNAMT")
        if day is None or cents is None:
            continue
        payee = one.first("PAYEE")
        name = one.value("NAME") or (payee.value("NAME") if payee else "")
        rows.append(
            _Row(
                day=day,
                cents=cents,
                type=one.value("TRNTYPE", "LOANTRNTYPE").upper(),
                description=joined((name, one.value("MEMO"))),
                element=one,
            )
        )
    return rows


def _up_sign(kind: AccountType | None, stated: int | None, rows: list[_Row]) -> int:
    """The sign of a TRNAMT that raises the balance: -1 on debts, 1 elsewhere.

    Mortgages come in both conventions; when the balance is positive the words
    of the postings decide by majority, then the sign of the balance itself.
    """
    if kind == "line":
        return -1
    if kind != "mortgage":
        return 1
    if stated is not None and stated < 0:
        return -1
    votes = 0
    for row in rows:
        up = _LOAN_UP.get(row.type)
        if up is None:
            up = raises_debt(plain(row.description))
        if up is not None and row.cents:
            votes += 1 if up == (row.cents > 0) else -1
    if votes == 0:
        return 1 if stated else -1
    return 1 if votes > 0 else -1


def _entries(
    rows: list[_Row],
    kind: AccountType | None,
    up_sign: int,
    loan: bool,  # noqa: FBT001 - private
    fields: Fields,
) -> list[ParsedEntry]:
    entries: list[ParsedEntry] = []
    interest: list[int] = []
    for row in rows:
        up = row.cents * up_sign > 0 or (row.cents == 0 and row.type in ("INT", "FEE", "SRVCHG"))
        if loan:
            up = _LOAN_UP.get(row.type, up)
        signs = Signs(up=up, type=row.type, words=plain(row.description))
        outright = row.element.first("TOWPATH.KIND") is not None
        if kind == "mortgage" and not outright and is_mortgage_interest(signs):
            interest.append(len(entries))
        said = said_outright(row.element, kind, infer(kind, signs), fields)
        entry = ParsedEntry(
            date=row.day,
            sequence=0,
            kind=said.kind,
            amount_cents=abs(row.cents),
            description=row.description,
            external_id=row.element.value("FITID"),
            of=said.of,
            paid=said.paid,
            to=said.to,
            source=row.element.value("TOWPATH.FROM") or None,
            proceeds_cents=fields.cents(row.element, "TOWPATH.PROCEEDS", needed=False),
            cost_fraction=cost_fraction(row.element, fields),
            line=row.element.line,
        )
        entries.append(_with_split(entry, row.element, fields))
    return fold_interest(entries, interest)


def _with_split(entry: ParsedEntry, element: Element, fields: Fields) -> ParsedEntry:
    """A mortgage payment with the interest and principal the loan statement gives."""
    split = element.first("LOANTRNAMT") or element
    principal = fields.cents(split, "PRINAMT", "PRINCIPALAMT", needed=False)
    interest = fields.cents(split, "INTAMT", "INTERESTAMT", needed=False)
    if entry.kind != "payment" or (principal is None and interest is None):
        return entry
    interest = abs(interest) if interest is not None else None
    if principal is not None and interest is None:
        principal = abs(principal)
        interest = entry.amount_cents - principal
    elif principal is None and interest is not None:
        principal = entry.amount_cents - interest
    assert interest is not None
    assert principal is not None
    if interest + principal != entry.amount_cents and interest - principal == entry.amount_cents:
        principal = -principal
    if interest + principal != entry.amount_cents:
        fields.faults.add(
            split.line,
            "LOANTRNAMT",
            "interest and principal do not add up to the payment",
            "Taxes and insurance belong to another account; correct the split or the amount",
        )
    return replace(entry, interest_cents=interest, principal_cents=principal)


def fold_interest(entries: list[ParsedEntry], interest: list[int]) -> list[ParsedEntry]:
    """Mortgage interest posted apart becomes the interest of that day's payment.

    `interest` lists the places of such postings. One without a payment on its
    day stays what it is, a charge.
    """
    gone: set[int] = set()
    for index in interest:
        row = entries[index]
        for place, one in enumerate(entries):
            fits = one.kind == "payment" and one.date == row.date and one.interest_cents is None
            if fits and one.principal_cents is None:
                entries[place] = replace(
                    one,
                    interest_cents=row.amount_cents,
                    principal_cents=one.amount_cents - row.amount_cents,
                )
                gone.add(index)
                break
    return [one for place, one in enumerate(entries) if place not in gone]


def _period(
    holder: Element | None,
    statement: Element,
    balance: Element | None,
    entries: list[ParsedEntry],
    fields: Fields,
) -> tuple[date, date] | None:
    if fields.options.period:
        return fields.options.period
    starts = fields.day(holder, "DTSTART", needed=False) if holder else None
    ends = fields.day(holder, "DTEND", needed=False) if holder else None
    as_of = fields.day(balance, "DTASOF", needed=False) if balance else None
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


def _check_as_of(balance: Element, entries: list[ParsedEntry], fields: Fields) -> None:
    as_of = fields.day(balance, "DTASOF", needed=False)
    last = max(one.date for one in entries)
    if as_of is not None and as_of < last:
        fields.faults.add(
            balance.line,
            "DTASOF",
            f"the balance is of {as_of}, before the last posting ({last})",
            "Export the period again; --accept-gap takes the balance as the closing one",
        )


def _limit(
    statement: Element,
    kind: AccountType | None,
    stated: int | None,
    closing: int | None,
    balances: Balances,
    fields: Fields,
) -> int | None:
    """The credit limit: stated, or credit available plus what is owed."""
    available = statement.first("AVAILBAL")
    room = fields.cents(available, "BALAMT") if available else None
    if kind != "line":
        return None
    if balances.limit is not None or room is None or closing is None:
        return balances.limit
    if room < 0 or (room == stated and room <= 0):
        return None  # some exports repeat the ledger balance here
    return room + closing
