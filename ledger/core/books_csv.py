"""A household's books as tables for a spreadsheet: accounts, entries, uses, years.

Figures are plain decimal strings. A text that a spreadsheet would take for a
formula (it begins with = + - @, a tab or a return) gets an apostrophe before it.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator
from dataclasses import fields
from io import StringIO

from ledger.core.deductions import DeductionYear
from ledger.core.trace_types import Trace
from planning.core.money import text_from_cents
from planning.core.types import CLASSES, Household, Statement

_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?\Z")
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
Row = tuple[str, ...]


def safe_cell(text: str) -> str:
    """A text that no spreadsheet takes for a formula; numbers stay numbers."""
    if text.startswith(_FORMULA) and not _NUMBER.match(text):
        return f"'{text}"
    return text


def books_csv(
    household: Household, traced: Trace, years: Iterable[DeductionYear]
) -> dict[str, str]:
    """The four tables by name, as CSV text with a head row, up to the trace's date.

    The class columns of a line's entries add up to its balance by class, and the
    years are those of the household's report.
    """
    return {
        "accounts": _table(_ACCOUNTS, _accounts(household, traced)),
        "entries": _table(_ENTRIES, _entries(household, traced)),
        "uses": _table(_USES, _uses(household, traced)),
        "deductions": _table(_DEDUCTIONS, _years(years)),
    }


def _table(head: Row, rows: Iterable[Row]) -> str:
    out = StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(head)
    writer.writerows([safe_cell(one) for one in row] for row in rows)
    return out.getvalue()


_ACCOUNTS = (
    *("account", "type", "kind", "people", "first_statement", "last_statement"),
    *("closing", "value", *CLASSES, "unpaid_interest"),
)


def _accounts(household: Household, traced: Trace) -> Iterator[Row]:
    for mortgage in household.mortgages:
        head: Row = (mortgage.ref, "mortgage", mortgage.frequency, " ".join(mortgage.borrowers))
        yield (*head, *_held(household, traced, mortgage.ref), "", "", "", "")
    for line in household.lines:
        one = traced.lines[line.ref]
        by_class = (text_from_cents(cents) for cents in one.classes)
        unpaid = text_from_cents(sum(one.unpaid))
        head = (line.ref, "line", "", " ".join(line.borrowers))
        yield (*head, *_held(household, traced, line.ref), *by_class, unpaid)
    for account in household.investments:
        head = (account.ref, "investment", account.kind, " ".join(account.owners))
        yield (*head, *_held(household, traced, account.ref), "", "", "", "")


def _held(household: Household, traced: Trace, ref: str) -> Row:
    seen = [one for one in household.statements_of(ref) if one.ends <= traced.as_of]
    if not seen:
        return ("", "", "", "")
    last = seen[-1]
    return (
        seen[0].starts.isoformat(),
        last.ends.isoformat(),
        text_from_cents(last.closing_cents),
        _cents(last.value_cents),
    )


_ENTRIES = (
    *("account", "type", "id", "date", "kind", "amount", *CLASSES, "balance"),
    *("interest", "principal", "of", "paid", "from", "to", "proceeds", "cost_fraction"),
)
_NOTHING: Row = ("",) * 8


def _entries(household: Household, traced: Trace) -> Iterator[Row]:
    """The lines' rows as traced, implied ones and changes of use included; then the others'."""
    for line in household.lines:
        for row in traced.lines[line.ref].rows:
            change = (text_from_cents(cents) for cents in row.change)
            head = (line.ref, "line", row.id, row.on.isoformat(), row.kind)
            yield (
                *head,
                text_from_cents(row.amount),
                *change,
                text_from_cents(row.balance),
                *_NOTHING,
            )
    others = [(one.ref, "mortgage") for one in household.mortgages]
    others += [(one.ref, "investment") for one in household.investments]
    for ref, sort in others:
        for statement in household.statements_of(ref):
            yield from _plain_entries(statement, sort, traced)


def _plain_entries(statement: Statement, sort: str, traced: Trace) -> Iterator[Row]:
    for one in statement.entries:
        if one.date > traced.as_of:
            continue
        fraction = "" if one.cost_fraction is None else f"{one.cost_fraction:f}"
        yield (
            *(statement.account, sort, one.id, one.date.isoformat(), one.kind),
            text_from_cents(one.amount_cents),
            *("", "", "", ""),
            *(_cents(one.interest_cents), _cents(one.principal_cents)),
            *(one.of or "", one.paid or "", one.source or "", one.to or ""),
            *(_cents(one.proceeds_cents), fraction),
        )


_USES = (
    *("line", "draw", "date", "kind", "draw_amount", "use", "to", "amount", *CLASSES),
    *("supported_by", "evidence"),
)


def _uses(household: Household, traced: Trace) -> Iterator[Row]:
    """Every split of every draw; what no split covers stands as a row without a use."""
    claimed = {one.draw: one.splits for one in household.uses}
    for draw in traced.draws:
        head = (draw.line, draw.id, draw.on.isoformat(), draw.kind, text_from_cents(draw.amount))
        splits = claimed.get(draw.id, ())
        rest = draw.classes
        for number, one in enumerate(draw.splits):
            papers = splits[number].evidence if number < len(splits) else ()
            rest = (
                rest[0] - one.classes[0],
                rest[1] - one.classes[1],
                rest[2] - one.classes[2],
            )
            yield (
                *head,
                *(one.use, one.to or "", text_from_cents(one.amount)),
                *(text_from_cents(cents) for cents in one.classes),
                *(one.supported_by or "", "; ".join(paper.ref for paper in papers)),
            )
        if any(rest):
            classes = (text_from_cents(cents) for cents in rest)
            yield (*head, "", "", text_from_cents(sum(rest)), *classes, "", "")


_DEDUCTIONS = tuple(one.name for one in fields(DeductionYear))


def _years(years: Iterable[DeductionYear]) -> Iterator[Row]:
    for one in years:
        amounts = (_cents(getattr(one, name)) for name in _DEDUCTIONS[1:])
        yield (str(one.year), *amounts)


def _cents(cents: int | None) -> str:
    return "" if cents is None else text_from_cents(cents)
