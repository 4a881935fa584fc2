"""Readers for the parts of a household file: people, accounts, statements, uses."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from itertools import pairwise
from typing import Literal, cast

from planning.core.json_reader import NO_DATE, Node
from planning.core.types import (
    CLASSES,
    USES,
    YIELD_KINDS,
    AccountKind,
    BiweeklyBasis,
    CapitalisedInterest,
    Compounding,
    Entry,
    Evidence,
    ExcessRule,
    Facility,
    Frequency,
    Gain,
    Household,
    InterestMethod,
    Investment,
    Line,
    Member,
    Mortgage,
    RateSteps,
    Split,
    Statement,
    Term,
    TermKind,
    Use,
    UseClass,
)

AccountType = Literal["mortgage", "line", "investment"]
PROVINCES = ("AB", "BC", "MB", "NB", "NL", "NS", "NT", "NU", "ON", "PE", "QC", "SK", "YT")
FREQUENCIES = (
    "monthly",
    "semi-monthly",
    "biweekly",
    "weekly",
    "accelerated-biweekly",
    "accelerated-weekly",
)
ACCOUNT_KINDS = ("non-registered", "rrsp", "tfsa", "fhsa", "resp", "rdsp")
DESTINATIONS = ("personal", "mortgage", "line", "registered", "idle")
RESERVED = {"business", "rental", "interest", "own", "facility", *DESTINATIONS}

ENTRY_KINDS: Mapping[AccountType, tuple[str, ...]] = {
    "mortgage": ("payment", "prepayment", "charge", "advance"),
    "line": ("draw", "repayment", "interest", "fee"),
    "investment": (
        "contribution",
        "distribution",
        "withdrawal",
        "transfer-in-kind",
        "buy",
        "sell",
        "fee",
    ),
}
# Beyond id, date, kind and amount: what each kind must and may carry.
_EXTRA: Mapping[tuple[AccountType, str], tuple[tuple[str, ...], tuple[str, ...]]] = {
    ("mortgage", "payment"): ((), ("interest", "principal")),
    ("investment", "contribution"): ((), ("from",)),
    ("investment", "distribution"): (("of", "paid"), ()),
    ("investment", "withdrawal"): (("to",), ("of", "proceeds", "cost_fraction")),
    ("investment", "transfer-in-kind"): (("to",), ("cost_fraction",)),
}


def read_member(node: Node) -> Member:
    """A person; `income` is a table of tax year to taxable income, `gains` realised by date."""
    node.keys(("ref", "name", "province"), ("born", "income", "gains"))
    income: list[tuple[int, int]] = []
    for key, amount in node.get("income").items():
        if not (key.isdigit() and 1990 <= int(key) <= 2200):
            amount.fault(f"{key!r} is not a tax year", 'Use a year such as "2025"')
            continue
        income.append((int(key), amount.cents()))
    return Member(
        ref=node.get("ref").ref(),
        name=node.get("name").text(),
        province=node.get("province").choice(PROVINCES),
        born=None if node.get("born").absent else node.get("born").whole(1900, 2100),
        income=tuple(sorted(income)),
        gains=tuple(_read_gain(one) for one in node.get("gains").each()),
    )


def _read_gain(node: Node) -> Gain:
    node.keys(("on", "amount"))
    return Gain(on=node.get("on").day(), amount_cents=node.get("amount").cents(1))


def read_facility(node: Node) -> Facility:
    """The facility's limits and treatments."""
    node.keys(
        ("lender_value", "registered_limit", "line_cap"),
        ("valued_on", "revolving_cap", "excess_rule", "capitalised_interest", "interest_method"),
    )
    return Facility(
        lender_value_cents=node.get("lender_value").cents(1),
        valued_on=None if node.get("valued_on").absent else node.get("valued_on").day(),
        registered_limit_cents=node.get("registered_limit").cents(),
        revolving_cap=node.get("revolving_cap").rate("0", "1")
        if node.has("revolving_cap")
        else Decimal("0.65"),
        line_cap_cents=node.get("line_cap").cents(),
        excess_rule=cast(
            "ExcessRule", _default(node, "excess_rule", ("excess-first", "proportional", "none"))
        ),
        capitalised_interest=cast(
            "CapitalisedInterest",
            _default(node, "capitalised_interest", ("compounding", "paid-by-advance")),
        ),
        interest_method=cast(
            "InterestMethod", _default(node, "interest_method", ("paid", "payable"))
        ),
    )


def _default(node: Node, key: str, known: tuple[str, ...]) -> str:
    return node.get(key).choice(known) if node.has(key) else known[0]


def read_refs(node: Node) -> tuple[str, ...]:
    """A list of references."""
    return tuple(one.ref() for one in node.each())


def read_mortgage(node: Node) -> Mortgage:
    """A mortgage with its terms, which must follow one another in time."""
    node.keys(
        ("ref", "original_principal", "first_payment", "amortization_months", "terms"),
        ("frequency", "compounding", "biweekly_basis", "prepayment_privilege", "borrowers"),
    )
    terms = tuple(_read_term(one) for one in node.get("terms").each())
    if not terms:
        node.get("terms").fault("a mortgage needs a term", "Give the term in force")
    for index in range(1, len(terms)):
        if terms[index].starts < terms[index - 1].matures:
            node.faults.add(
                f"{node.path}.terms[{index}].starts",
                "this term starts before the one above it matures",
                "Put terms in date order without overlap",
            )
    return Mortgage(
        ref=node.get("ref").ref(),
        original_principal_cents=node.get("original_principal").cents(1),
        first_payment=node.get("first_payment").day(),
        amortization_months=node.get("amortization_months").whole(1, 600),
        frequency=cast("Frequency", _default(node, "frequency", FREQUENCIES)),
        compounding=cast(
            "Compounding", _default(node, "compounding", ("semi-annual", "monthly", "annual"))
        ),
        biweekly_basis=cast(
            "BiweeklyBasis", _default(node, "biweekly_basis", ("annuity", "annual-total"))
        ),
        prepayment_privilege=node.get("prepayment_privilege").rate("0", "1")
        if node.has("prepayment_privilege")
        else Decimal(0),
        borrowers=read_refs(node.get("borrowers")),
        terms=terms,
    )


def _read_term(node: Node) -> Term:
    node.keys(("starts", "matures", "kind"), ("rate", "spread", "payment"))
    kind = cast("TermKind", node.get("kind").choice(("fixed", "adjustable", "static")))
    fixed = kind == "fixed"
    wanted, unwanted = ("rate", "spread") if fixed else ("spread", "rate")
    if not node.has(wanted):
        node.get(wanted).fault(f"a {kind} term needs its {wanted}", f"Add {wanted!r}")
    if node.has(unwanted):
        node.get(unwanted).fault(f"a {kind} term has no {unwanted}", "Remove it or change the kind")
    starts, matures = node.get("starts").day(), node.get("matures").day()
    if NO_DATE not in (starts, matures) and matures <= starts:
        node.get("matures").fault("the term matures on or before its start", "Check both dates")
    payment = node.get("payment")
    return Term(
        starts=starts,
        matures=matures,
        kind=kind,
        rate_annual=node.get("rate").rate("0", "1") if fixed and node.has("rate") else None,
        spread=node.get("spread").rate("-0.10", "1") if not fixed and node.has("spread") else None,
        payment_cents=None if payment.absent else payment.cents(1),
    )


def read_line(node: Node) -> Line:
    """A credit line: spread over prime, day basis and who stands behind it."""
    node.keys(
        ("ref", "spread"), ("day_basis", "borrowers", "payer", "claimant", "owners_explained")
    )
    basis = node.get("day_basis")
    if not basis.absent and (isinstance(basis.value, bool) or basis.value not in (365, "actual")):
        basis.fault(f"{basis.value!r} is not a day basis", 'Write 365 or "actual"')
    memo = node.get("owners_explained")
    return Line(
        ref=node.get("ref").ref(),
        day_basis="actual" if basis.value == "actual" else "365",
        spread=node.get("spread").rate("-0.10", "1"),
        borrowers=read_refs(node.get("borrowers")),
        payer=None if node.get("payer").absent else node.get("payer").ref(),
        claimant=None if node.get("claimant").absent else node.get("claimant").ref(),
        owners_explained=None if memo.absent else memo.text(2000),
    )


def read_investment(node: Node) -> Investment:
    """An investment account and its owners."""
    node.keys(("ref", "kind"), ("owners",))
    ref = node.get("ref").ref()
    if ref in RESERVED:
        node.get("ref").fault(f"{ref!r} is a word of the format itself", "Choose another reference")
    return Investment(
        ref=ref,
        kind=cast("AccountKind", node.get("kind").choice(ACCOUNT_KINDS)),
        owners=read_refs(node.get("owners")),
    )


def read_steps(node: Node, low: str, high: str) -> RateSteps:
    """A rate series [[date, rate], ...] with strictly rising dates."""
    steps: list[tuple[date, Decimal]] = []
    for one in node.each():
        if not isinstance(one.value, list) or len(one.value) != 2:
            one.fault("expected a pair of date and rate", 'Write ["2025-01-01", "0.0545"]')
            continue
        when, rate = one.each()
        day = when.day()
        if steps and day <= steps[-1][0] and day != NO_DATE:
            when.fault(
                "dates must rise from one row to the next", "Sort the series; keep one row a day"
            )
        steps.append((day, rate.rate(low, high)))
    return tuple(steps)


def account_kinds(
    mortgages: tuple[Mortgage, ...], lines: tuple[Line, ...], investments: tuple[Investment, ...]
) -> dict[str, AccountType]:
    """What each account reference names."""
    kinds: dict[str, AccountType] = {one.ref: "mortgage" for one in mortgages}
    kinds |= {one.ref: "line" for one in lines}
    kinds |= {one.ref: "investment" for one in investments}
    return kinds


def read_statement(node: Node, kinds: Mapping[str, AccountType]) -> Statement:
    """A statement with its postings, each dated inside the statement."""
    node.keys(
        ("account", "starts", "ends", "opening", "closing"), ("limit", "value", "rates", "entries")
    )
    account = node.get("account").ref()
    kind = kinds.get(account)
    if account and kind is None:
        node.get("account").fault(
            f"there is no account {account!r} in this household",
            "Add the account, or name one of: " + (", ".join(sorted(kinds)) or "(none)"),
        )
    starts, ends = node.get("starts").day(), node.get("ends").day()
    if NO_DATE not in (starts, ends) and ends < starts:
        node.get("ends").fault("the statement ends before it starts", "Check both dates")
    entries = tuple(_read_entry(one, kind, starts, ends) for one in node.get("entries").each())
    # A line's balance may be negative: an overpayment is the household's own money.
    low = -(10**13) if kind == "line" else 0
    limit, value = node.get("limit"), node.get("value")
    return Statement(
        account=account,
        starts=starts,
        ends=ends,
        opening_cents=node.get("opening").cents(low),
        closing_cents=node.get("closing").cents(low),
        limit_cents=None if limit.absent else limit.cents(),
        value_cents=None if value.absent else value.cents(),
        rates=read_steps(node.get("rates"), "-0.05", "1"),
        entries=entries,
    )


def _read_entry(node: Node, account: AccountType | None, starts: date, ends: date) -> Entry:
    known = ENTRY_KINDS[account] if account else tuple(k for v in ENTRY_KINDS.values() for k in v)
    kind = node.get("kind").choice(known)
    required, optional = _EXTRA.get((account or "line", kind), ((), ()))
    node.keys(("id", "date", "kind", "amount", *required), optional)
    day = node.get("date").day()
    if NO_DATE not in (day, starts, ends) and not starts <= day <= ends:
        node.get("date").fault(
            f"{day} lies outside the statement ({starts} to {ends})",
            "Correct the date, or put the entry in the statement that shows it",
        )
    amount = node.get("amount").cents()
    interest = node.get("interest").cents() if node.has("interest") else None
    principal = node.get("principal").cents(-(10**13)) if node.has("principal") else None
    if interest is not None and principal is not None and interest + principal != amount:
        node.get("principal").fault(
            "interest and principal do not add up to the payment", "Correct the split or the amount"
        )
    fraction = node.get("cost_fraction")
    paid = ("cash", "reinvested")
    of_known = (
        YIELD_KINDS if kind == "distribution" else ("income", "return_of_capital", "proceeds")
    )
    to_ref = node.get("to")
    return Entry(
        id=node.get("id").entry_id(),
        date=day,
        kind=kind,
        amount_cents=amount,
        interest_cents=interest,
        principal_cents=principal,
        source=node.get("from").entry_id() if node.has("from") else None,
        of=node.get("of").choice(of_known) if node.has("of") else None,
        paid=node.get("paid").choice(paid) if node.has("paid") else None,
        to=None if to_ref.absent else to_ref.ref(),
        proceeds_cents=node.get("proceeds").cents() if node.has("proceeds") else None,
        cost_fraction=None if fraction.absent else fraction.rate("0", "1"),
    )


def read_use(node: Node) -> Use:
    """The claimed uses of one draw."""
    node.keys(("draw", "splits"))
    return Use(
        draw=node.get("draw").entry_id(),
        splits=tuple(_read_split(one) for one in node.get("splits").each()),
    )


def _read_split(node: Node) -> Split:
    node.keys(("amount", "use"), ("to", "of", "evidence"))
    use = node.get("use").choice(USES)
    of = node.get("of")
    if not of.absent and use != "refinance":
        of.fault("only a refinance names a class", "Remove it, or set the use to refinance")
    return Split(
        amount_cents=node.get("amount").cents(),
        use=use,
        to=None if node.get("to").absent else node.get("to").ref(),
        of=None if of.absent else cast("UseClass", of.choice(CLASSES)),
        evidence=tuple(_read_evidence(one) for one in node.get("evidence").each()),
    )


def _read_evidence(node: Node) -> Evidence:
    if isinstance(node.value, dict):
        node.keys(("ref",), ("on",))
        on = node.get("on")
        return Evidence(ref=node.get("ref").text(), on=None if on.absent else on.day())
    return Evidence(ref=node.text(), on=None)


def check_references(household: Household, root: Node) -> None:
    """Refs are unique, and whatever names a person or an account names one on file."""
    _check_unique(household, root)
    people = {one.ref for one in household.members}
    for index, mortgage in enumerate(household.mortgages):
        _known_people(root, f"mortgages[{index}].borrowers", mortgage.borrowers, people)
    for index, line in enumerate(household.lines):
        _known_people(root, f"lines[{index}].borrowers", line.borrowers, people)
        for key, person in (("payer", line.payer), ("claimant", line.claimant)):
            _known_people(root, f"lines[{index}].{key}", (person,) if person else (), people)
    for index, account in enumerate(household.investments):
        _known_people(root, f"investments[{index}].owners", account.owners, people)
    investments = {one.ref for one in household.investments}
    for s, statement in enumerate(household.statements):
        for e, entry in enumerate(statement.entries):
            known = (
                investments if entry.kind == "transfer-in-kind" else investments | {*DESTINATIONS}
            )
            if entry.to and entry.to not in known:
                root.faults.add(
                    f"statements[{s}].entries[{e}].to",
                    f"{entry.to!r} is not a destination",
                    f"Use one of: {', '.join(sorted(known))}",
                )
    _check_overlap(household, root)


def _check_unique(household: Household, root: Node) -> None:
    accounts = [
        *((f"mortgages[{i}].ref", one.ref) for i, one in enumerate(household.mortgages)),
        *((f"lines[{i}].ref", one.ref) for i, one in enumerate(household.lines)),
        *((f"investments[{i}].ref", one.ref) for i, one in enumerate(household.investments)),
    ]
    for rows in (accounts, [(f"members[{i}].ref", m.ref) for i, m in enumerate(household.members)]):
        seen: set[str] = set()
        for where, ref in rows:
            if ref in seen:
                root.faults.add(where, f"the reference {ref!r} is used twice", "Choose another")
            seen.add(ref)
    drawn: set[str] = set()
    for index, use in enumerate(household.uses):
        if use.draw in drawn:
            root.faults.add(
                f"uses[{index}].draw", f"{use.draw!r} has two rows", "Put all its splits in one row"
            )
        drawn.add(use.draw)


def _known_people(root: Node, where: str, refs: tuple[str, ...], people: set[str]) -> None:
    for ref in refs:
        if ref and ref not in people:
            root.faults.add(
                where, f"there is no member {ref!r}", "Add the member or correct the reference"
            )


def _check_overlap(household: Household, root: Node) -> None:
    order = sorted(
        range(len(household.statements)),
        key=lambda i: (household.statements[i].account, household.statements[i].starts),
    )
    for before, after in pairwise(order):
        one, two = household.statements[before], household.statements[after]
        if one.account == two.account and two.starts <= one.ends and two.starts != NO_DATE:
            root.faults.add(
                f"statements[{after}].starts",
                f"this statement of {two.account!r} overlaps statements[{before}] "
                f"({one.starts} to {one.ends})",
                "Keep one statement a day and account",
            )
