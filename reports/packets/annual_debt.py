"""Schedules 1, 2, 4 and 5: the debts, their months, the ledger by use, the interest."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

from ledger.core.trace_types import NONE, LineTrace, add
from planning.core.money import round_ratio
from planning.core.months import first_day, last_day, month_of
from planning.core.types import Household
from reports.packets.annual_tables import YearBook, money, schedule, table
from reports.packets.words import ENTRY_WORDS, gettext_noop

LENDER = gettext_noop("The lender")
ADVISOR = gettext_noop("The adviser")
ACCOUNTANT = gettext_noop("The accountant")
RULES = {
    "draw": gettext_noop("Direct use of the draw (ITA 20(1)(c))"),
    "fee": gettext_noop("Direct use of the fee; personal unless shown otherwise"),
    "opening": gettext_noop("Use of the opening balance, as evidenced"),
    "adjustment": gettext_noop("Statement difference, as a draw without evidence"),
    "interest": gettext_noop("Shared by nights, rate and balance of each use"),
    "repayment": gettext_noop("Unpaid interest first, the rest in proportion to uses"),
    "reclass": gettext_noop("Money left the investment: current use changed (ITA 18(11), 20.1)"),
}


def facilities(book: YearBook) -> dict[str, Any]:
    """Schedule 1: the facility, its mortgages and lines, owners and rates as on file."""
    home, plan = book.household, book.household.facility
    names = {one.ref: one.name for one in home.members}
    rows: list[list[object]] = []
    for mortgage in home.mortgages:
        term = mortgage.terms[-1] if mortgage.terms else None
        rate = "" if term is None or term.rate_annual is None else str(term.rate_annual)
        starts = "" if term is None else term.starts.isoformat()
        matures = "" if term is None else term.matures.isoformat()
        who = ", ".join(names.get(one, one) for one in mortgage.borrowers)
        limit = money(mortgage.original_principal_cents)
        rows.append([gettext_noop("Mortgage"), mortgage.ref, who, limit, rate, starts, matures])
    for line in home.lines:
        who = ", ".join(names.get(one, one) for one in line.borrowers)
        ended = [one for one in home.statements_of(line.ref) if one.ends <= book.traced.as_of]
        shown = ended[-1].limit_cents if ended else None
        limit = money(plan.line_cap_cents if shown is None else shown)
        rows.append([gettext_noop("Line"), line.ref, who, limit, str(line.spread), "", ""])
    refinanced = [
        [one.on.isoformat(), one.id, split.to or "", one.line, money(split.amount)]
        for one in book.traced.draws
        for split in one.splits
        if split.use == "refinance"
    ]
    return schedule(
        1,
        gettext_noop("Facility list"),
        notes=[
            gettext_noop("A line's rate is its spread over prime unless a statement gives one.")
        ],
        tables=[
            table(
                "accounts",
                gettext_noop("Accounts of the facility"),
                [
                    ("type", gettext_noop("Type"), "word"),
                    ("account", gettext_noop("Account"), "text"),
                    ("owners", gettext_noop("Borrowers"), "text"),
                    ("limit", gettext_noop("Limit or original principal"), "money"),
                    ("rate", gettext_noop("Rate or spread"), "rate"),
                    ("starts", gettext_noop("Term starts"), "date"),
                    ("matures", gettext_noop("Term ends"), "date"),
                ],
                rows,
            ),
            table(
                "refinancing",
                gettext_noop("Refinancing, old debt to new (ITA 20(3))"),
                [
                    ("date", gettext_noop("Date"), "date"),
                    ("draw", gettext_noop("Entry"), "text"),
                    ("old", gettext_noop("Old account"), "text"),
                    ("new", gettext_noop("New account"), "text"),
                    ("amount", gettext_noop("Amount"), "money"),
                ],
                refinanced,
                sums=["amount"],
            ),
        ],
        missing=[
            (gettext_noop("Lender's name, account numbers, security and agreement dates"), LENDER),
            (gettext_noop("Signed line agreement: is interest added to the balance paid?"), LENDER),
        ],
    )


def line_months(book: YearBook, line: LineTrace) -> Iterator[dict[str, Any]]:
    """A line's months of the year, in cents: what moved, its closing, the statement's closing."""
    balance, rows = 0, list(line.rows)
    for month in book.months:
        end = last_day(month)
        sums = dict.fromkeys(("draw", "fee", "interest", "repayment", "opening", "adjustment"), 0)
        before = [row for row in rows if row.on < first_day(month)]
        opening = before[-1].balance if before else 0
        balance = opening
        for row in (one for one in rows if month_of(one.on) == month):
            if row.kind in sums:
                sums[row.kind] += row.balance - balance
            balance = row.balance
        ended = [
            one for one in book.household.statements_of(line.ref) if month_of(one.ends) == month
        ]
        stated = ended[-1].closing_cents if ended else None
        at = [row.balance for row in rows if ended and row.on <= ended[-1].ends]
        broken = stated is not None and (at[-1] if at else 0) != stated
        covered = covers(book.household, line.ref, end)
        yield {"month": month, "opening": opening, "closing": balance, "stated": stated,
            "sums": sums, "ties": covered and not broken and not sums["adjustment"]
        }  # fmt: skip


def covers(household: Household, ref: str, day: date) -> bool:
    """Whether a statement covers a day, or the line's first one starts after it."""
    found = household.statements_of(ref)
    return not found or day < found[0].starts or any(one.starts <= day <= one.ends for one in found)


def untied(book: YearBook) -> tuple[tuple[str, str], ...]:
    """Months whose roll-forward does not tie to the line's statements: month and line.

    A month ties when a statement covers its last day, the entries lead from
    opening to closing, and no difference had to be carried as an adjustment.
    """
    bad = [
        (row["month"], ref)
        for ref, line in book.traced.lines.items()
        for row in line_months(book, line)
        if not row["ties"]
    ]
    closed = {str(row["month"]): row["actual"] for row in book.report["months"]}
    for month in book.months:
        sums = 0
        for line in book.traced.lines.values():
            upto = [row.balance for row in line.rows if row.on <= last_day(month)]
            sums += upto[-1] if upto else 0
        if money(sums) != closed[month]["line_closing"]:
            bad.append((month, "*"))
    return tuple(sorted(set(bad)))


def roll_forward(book: YearBook) -> dict[str, Any]:
    """Schedule 2: each line by month, tied to its statements; the mortgages in sum."""
    columns = [
        ("month", gettext_noop("Month"), "month"),
        ("opening", gettext_noop("Opening"), "money"),
        ("brought", gettext_noop("Brought in"), "money"),
        ("draws", gettext_noop("Draws"), "money"),
        ("fees", gettext_noop("Fees"), "money"),
        ("interest", gettext_noop("Interest"), "money"),
        ("payments", gettext_noop("Payments"), "money"),
        ("closing", gettext_noop("Closing"), "money"),
        ("statement", gettext_noop("Statement"), "money"),
    ]
    tables = []
    for ref, line in book.traced.lines.items():
        rows = []
        for one in line_months(book, line):
            moved = one["sums"]
            parts = [one["opening"], moved["opening"], moved["draw"], moved["fee"]]
            parts += [moved["interest"], -moved["repayment"], one["closing"]]
            stated = "" if one["stated"] is None else money(one["stated"])
            rows.append([one["month"], *[money(cents) for cents in parts], stated])
        sums = ["brought", "draws", "fees", "interest", "payments"]
        check = {"of": "closing", "plus": ["opening", *sums[:-1]], "minus": ["payments"]}
        tables.append(table(f"line-{ref}", ref, columns, rows, sums=sums, check=check))
    actual = {str(row["month"]): row["actual"] for row in book.report["months"]}
    keys = ("mortgage_opening", "interest", "principal", "prepayment", "mortgage_closing")
    tables.append(
        table(
            "mortgages",
            gettext_noop("Mortgages together (interest not deductible)"),
            [
                columns[0],
                ("opening", gettext_noop("Opening"), "money"),
                ("interest", gettext_noop("Interest"), "money"),
                ("principal", gettext_noop("Principal"), "money"),
                ("prepayment", gettext_noop("Prepayment"), "money"),
                ("closing", gettext_noop("Closing"), "money"),
            ],
            [[month, *[str(actual[month][key]) for key in keys]] for month in book.months],
            sums=["interest", "principal", "prepayment"],
        )
    )
    note = gettext_noop("Each line's closing balance equals its statement; else nothing is issued.")
    return schedule(2, gettext_noop("Roll-forward by month"), notes=[note], tables=tables)


def ledger(book: YearBook) -> dict[str, Any]:
    """Schedule 4: every entry of the year by use, the rule that classed it, average share."""
    rows: list[list[object]] = []
    shares: list[list[object]] = []
    for ref, line in book.traced.lines.items():
        held = NONE
        for row in line.rows:
            held = add(held, row.change)
            if book.within(row.on):
                amounts = [money(cents) for cents in (*row.change, *held, row.balance)]
                kind, rule = ENTRY_WORDS[row.kind], RULES[row.kind]
                rows.append([ref, row.on.isoformat(), row.id, kind, *amounts, rule])
        shares.append([ref, _average(book, line)])
    classes = [
        ("eligible", gettext_noop("Eligible"), gettext_noop("Eligible, after")),
        ("unsupported", gettext_noop("Unsupported"), gettext_noop("Unsupported, after")),
        ("ineligible", gettext_noop("Ineligible"), gettext_noop("Ineligible, after")),
    ]
    return schedule(
        4,
        gettext_noop("Ledger by use"),
        notes=[gettext_noop("Average share: eligible over whole balance, each night of the year.")],
        tables=[
            table(
                "share",
                gettext_noop("Average eligible share of the year"),
                [
                    ("line", gettext_noop("Line"), "text"),
                    ("share", gettext_noop("Average eligible share"), "rate"),
                ],
                shares,
            ),
            table(
                "ledger",
                gettext_noop("Entries, change and balance by use"),
                [
                    ("line", gettext_noop("Line"), "text"),
                    ("date", gettext_noop("Date"), "date"),
                    ("entry", gettext_noop("Entry"), "text"),
                    ("kind", gettext_noop("Kind"), "word"),
                    *[(f"change_{key}", word, "money") for key, word, _ in classes],
                    *[(f"after_{key}", word, "money") for key, _, word in classes],
                    ("balance", gettext_noop("Balance"), "money"),
                    ("rule", gettext_noop("Rule"), "word"),
                ],
                rows,
                sums=[f"change_{key}" for key, _, _ in classes],
            ),
        ],
    )


def _average(book: YearBook, line: LineTrace) -> str:
    """Eligible balance over balance, summed over the nights of the year, to six places."""
    day, end = date(book.year, 1, 1), date(book.year, 12, 31)
    eligible = whole = held = at = 0
    rows = list(line.rows)
    while day <= end:
        while at < len(rows) and rows[at].on <= day:
            held += rows[at].change[0]
            at += 1
        eligible += max(0, held)
        whole += max(0, rows[at - 1].balance) if at else 0
        day += timedelta(days=1)
    return _six(Fraction(eligible, whole)) if whole else ""


def _six(share: Fraction) -> str:
    parts = round_ratio(share.numerator * 1_000_000, share.denominator)
    return f"{parts // 1_000_000}.{parts % 1_000_000:06d}"


def interest(book: YearBook) -> dict[str, Any]:
    """Schedule 5: interest by month, and the amounts for the federal and Québec returns."""
    postings = [one for line in book.traced.lines.values() for one in line.postings]
    rows = []
    for month in book.months:
        posted = [one for one in postings if month_of(one.on) == month]
        paid = [one for one in book.traced.payments if month_of(one.on) == month]
        advance = sum(sum(one.classes) for one in paid if one.id == one.posting)
        by_class = NONE
        for one in paid:
            by_class = add(by_class, one.classes)
        cents = [sum(one.posted for one in posted), sum(by_class), advance, *by_class]
        cents += [sum(one.compound[0] for one in paid), book.view.deductible(month)]
        rows.append([month, *[money(one) for one in cents]])
    keys = ["posted", "paid", "advance", "eligible", "unsupported", "ineligible"]
    heads = [
        gettext_noop("Posted"),
        gettext_noop("Paid"),
        gettext_noop("Paid by advance"),
        gettext_noop("Paid, eligible"),
        gettext_noop("Paid, unsupported"),
        gettext_noop("Paid, ineligible"),
    ]
    columns = [("month", gettext_noop("Month"), "month")]
    columns += [(key, head, "money") for key, head in zip(keys, heads, strict=True)]
    columns += [("compound", gettext_noop("Compound, eligible, paid"), "money")]
    columns += [("claim", gettext_noop("Claim"), "money")]
    sums = [*keys, "compound", "claim"]
    return schedule(
        5,
        gettext_noop("Interest and the claim"),
        tables=[
            table("interest", gettext_noop("Interest by month"), columns, rows, sums=sums),
            table(
                "lines-of-the-return",
                gettext_noop("Amounts for the returns"),
                [
                    ("line", gettext_noop("Line of the return"), "word"),
                    ("amount", gettext_noop("Amount"), "money"),
                ],
                _returns(book),
            ),
        ],
        missing=[
            (gettext_noop("Year-end interest certificate"), LENDER),
            (gettext_noop("Proof that the interest was paid from the payer's account"), ADVISOR),
        ],
    )


def _returns(book: YearBook) -> list[list[object]]:
    claim = book.claim
    rows: list[list[object]] = [
        [gettext_noop("Federal, line 22100: carrying charges, interest"), str(claim["federal"])],
        [gettext_noop("Not claimed: use not evidenced"), str(claim["unsupported"])],
        [gettext_noop("Not deductible: ineligible use"), str(claim["ineligible"])],
    ]
    if "pool" not in claim:
        word = gettext_noop("Province: same base as the federal return")
        return [*rows, [word, str(claim["provincial"])]]
    added, used = quebec_lines(book)
    return [
        *rows,
        [gettext_noop("Québec, line 231: carrying charges, interest"), str(claim["deductible"])],
        [gettext_noop("Québec, line 260: investment expenses added back"), money(added)],
        [gettext_noop("Québec, line 252: earlier excess deducted"), money(used)],
        [gettext_noop("Québec: net reduction of the year"), str(claim["provincial"])],
        [gettext_noop("Québec: excess carried forward at year-end"), str(claim["pool"])],
    ]


def quebec_lines(book: YearBook) -> tuple[int, int]:
    """Lines 260 and 252 in cents: 231 - 260 + 252 is what the year is reduced by."""
    from planning.core.money import cents_from_text

    change = cents_from_text(str(book.claim["deductible"])) - cents_from_text(
        str(book.claim["provincial"])
    )
    return max(0, change), max(0, -change)
