"""A book of households from a spreadsheet: one row each, as CSV.

`COLUMNS` is the whole format. A row becomes a household file with at most two
members, one mortgage of one term, one line, one non-registered account and a
plan; the file's own reader then judges it, and each problem names row and column.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, NoReturn

from config.problems import BadInput, Problem
from planning.core.household_file import FORMAT, VERSION

MOST_BYTES = 2 * 1024 * 1024
MOST_ROWS = 2_000
_PERCENT = re.compile(r"-?[0-9]{1,3}(\.[0-9]{1,6})?%\Z")
_WHOLE = re.compile(r"[0-9]{1,4}\Z")
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_REAL = re.compile(r"[+-]?[0-9.]+%?\Z")
M, T, P = "mortgages[0]", "mortgages[0].terms[0]", "plan"

COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("ref", "household.ref", "reference of the household; required"),
    ("name", "household.name", "name of the household; required"),
    ("province", "household.province", "two letters; required"),
    ("advisor", "household.advisor", "e-mail address of the advisor"),
    ("member1_name", "members[0].name", "first member; borrows, pays and deducts; required"),
    ("member1_born", "members[0].born", "year of birth"),
    ("member1_income", "members[0].income", "taxable income of the plan's first year"),
    ("member2_name", "members[1].name", "second member"),
    ("member2_born", "members[1].born", "year of birth"),
    ("member2_income", "members[1].income", "taxable income of the plan's first year"),
    ("lender_value", "facility.lender_value", "value of the home by the lender; required"),
    ("valued_on", "facility.valued_on", "date"),
    ("registered_limit", "facility.registered_limit", "registered limit; required"),
    ("revolving_cap", "facility.revolving_cap", "0.65 when empty"),
    ("line_cap", "facility.line_cap", "the line at most; required"),
    ("excess_rule", "facility.excess_rule", "excess-first, proportional, none"),
    ("capitalised_interest", "facility.capitalised_interest", "compounding, paid-by-advance"),
    ("interest_method", "facility.interest_method", "paid, payable"),
    ("mortgage_original", f"{M}.original_principal", "original principal; required"),
    ("mortgage_balance", "plan.opening.mtg", "balance when the plan starts; required"),
    ("first_payment", f"{M}.first_payment", "date; required"),
    ("amortization_months", f"{M}.amortization_months", "whole number; required"),
    ("frequency", f"{M}.frequency", "monthly when empty"),
    ("compounding", f"{M}.compounding", "semi-annual when empty"),
    ("prepayment_privilege", f"{M}.prepayment_privilege", "share of the original principal"),
    ("term_starts", f"{T}.starts", "date; required"),
    ("term_matures", f"{T}.matures", "date; required"),
    ("term_kind", f"{T}.kind", "fixed, adjustable, static; required"),
    ("term_rate", f"{T}.rate", "for fixed"),
    ("term_spread", f"{T}.spread", "to prime, for adjustable and static"),
    ("term_payment", f"{T}.payment", "when the lender states one"),
    ("line_spread", "lines[0].spread", "to prime; required"),
    ("line_balance", "plan.opening.line", "balance when the plan starts; 0.00 when empty"),
    ("investment_value", "plan.opening.inv", "value when the plan starts; 0.00 when empty"),
    ("prime_from", "prime[0][0]", "date of the prime rate; required"),
    ("prime", "prime[0][1]", "the prime rate; required"),
    ("plan_starts", f"{P}.starts", "first day of a month; required"),
    ("plan_months", f"{P}.months", "whole number; required"),
    ("reborrow_share", f"{P}.reborrow.share", "share of the room freed; 1 when empty"),
    ("line_interest", f"{P}.line_interest", "from-cash, from-line"),
    ("growth", f"{P}.investment.growth", "price growth a year; required"),
    ("eligible_dividends", f"{P}.investment.yields.eligible_dividend", "yield a year"),
    ("interest_yield", f"{P}.investment.yields.interest", "yield a year"),
    ("distributions", f"{P}.investment.distributions", "reinvest, prepay, cash; required"),
    ("refund", f"{P}.refund", "prepay, invest, keep"),
)
_PATHS = {column: path for column, path, _ in COLUMNS}
_WHOLES = {"member1_born", "member2_born", "amortization_months", "plan_months"}
_DEFAULTS = {"line_balance": "0.00", "investment_value": "0.00", "reborrow_share": "1"}


@dataclass(frozen=True, slots=True)
class BookRow:
    """One row: its number in the file (the header is row 1) and the household file it says."""

    number: int
    file: dict[str, Any]

    def place(self, where: str) -> str:
        """Row and column of a place in the household file; the place where no column says it."""
        for column, path in _PATHS.items():
            if where == path or (column.endswith("_income") and where.startswith(f"{path}.")):
                return f"row {self.number}, {column}"
        return f"row {self.number}, {where}" if where else f"row {self.number}"


def template() -> str:
    """An empty table: the header alone."""
    return ",".join(column for column, _, _ in COLUMNS) + "\r\n"


def read_rows(data: bytes, name: str) -> tuple[BookRow, ...]:
    """The rows of a book's CSV file. Raises BadInput with every fault of the table itself."""
    lines = _table(data, name)
    header = [one.strip() for one in lines[0]] if lines else []
    problems = list(_header_problems(header, name))
    rows: list[BookRow] = []
    for number, cells in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(header):
            text = f"{len(cells)} cells under {len(header)} columns"
            problems.append(Problem(name, f"row {number}", text, "Give each column one cell"))
            continue
        typed = {column: cell.strip() for column, cell in zip(header, cells, strict=True)}
        for column, cell in typed.items():
            if cell.startswith(_FORMULA) and not _REAL.match(cell):
                problems.append(
                    Problem(
                        name,
                        f"row {number}, {column}",
                        "the cell begins like a formula",
                        "Write the value itself",
                    )
                )
        rows.append(BookRow(number, _file(typed)))
    if not rows and not problems:
        problems.append(Problem(name, "", "there is no household in it", "Give a row a household"))
    if len(rows) > MOST_ROWS:
        problems.append(Problem(name, "", f"more than {MOST_ROWS} rows", "Split the file"))
    if problems:
        raise BadInput(problems)
    return tuple(rows)


def _table(data: bytes, name: str) -> list[list[str]]:
    """The cells of a CSV file, separated by comma or semicolon. Raises BadInput."""
    if len(data) > MOST_BYTES:
        _refuse(name, "", f"the file is larger than {MOST_BYTES // 1024**2} MB", "Split it")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        if data[:2] == b"PK":
            _refuse(name, "", "workbooks are not read", "Save the sheet as CSV UTF-8")
        _refuse(name, "", "the text is not UTF-8", "Save the sheet as CSV UTF-8")
    head = text.partition("\n")[0]
    separator = ";" if head.count(";") > head.count(",") else ","
    try:
        return list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error as error:
        _refuse(name, "", f"this is not a table: {error}", "Save the sheet as CSV UTF-8")


def _refuse(name: str, where: str, message: str, remedy: str) -> NoReturn:
    raise BadInput([Problem(name, where, message, remedy)])


def _header_problems(header: list[str], name: str) -> list[Problem]:
    found = [
        Problem(
            name, f"row 1, {one or 'empty'}", "unknown column", "Use the template's names alone"
        )
        for one in header
        if one not in _PATHS
    ]
    found += [
        Problem(name, f"row 1, {one}", "the column is there twice", "Keep one of them")
        for one in sorted({one for one in header if header.count(one) > 1})
    ]
    return found


def _value(column: str, text: str) -> object:
    if column in _WHOLES and _WHOLE.match(text):
        return int(text)
    if _PERCENT.match(text):
        return f"{Decimal(text[:-1]).scaleb(-2):f}"
    return text


def _file(typed: dict[str, str]) -> dict[str, Any]:
    said = {one: typed.get(one) or _DEFAULTS.get(one, "") for one in _PATHS}

    def part(prefix: str) -> dict[str, Any]:
        """What the columns say directly below a path."""
        return {
            path[len(prefix) + 1 :]: _value(column, said[column])
            for column, path in _PATHS.items()
            if path.startswith(f"{prefix}.")
            and not set(path[len(prefix) + 1 :]) & {".", "["}
            and said[column]
        }

    year = said["plan_starts"][:4]
    members = []
    for place in (0, 1):
        member = part(f"members[{place}]")
        if place and not member:
            continue
        income = member.pop("income", None)
        member |= {"ref": f"m{place + 1}", "province": said["province"]}
        members.append(member | ({"income": {year: income}} if income else {}))
    plan = part("plan") | {
        "opening": part("plan.opening"),
        "reborrow": part("plan.reborrow") | {"line": "line", "into": "inv"},
        "investment": part("plan.investment") | {"yields": part("plan.investment.yields")},
    }
    people = {"borrowers": ["m1"]}
    return {
        "format": FORMAT,
        "version": VERSION,
        "household": part("household"),
        "members": members,
        "facility": part("facility"),
        "mortgages": [part(M) | people | {"ref": "mtg", "terms": [part(T)]}],
        "lines": [part("lines[0]") | people | {"ref": "line", "payer": "m1", "claimant": "m1"}],
        "investments": [{"ref": "inv", "kind": "non-registered", "owners": ["m1"]}],
        "prime": [[said["prime_from"], _value("prime", said["prime"])]],
        "statements": [],
        "uses": [],
        "plan": plan,
    }
