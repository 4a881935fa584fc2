"""The annual packet's workbook and tables: from a snapshot to bytes, the same every time.

The workbook states each total as the packet has it and, beside it, a formula
that adds the rows up again. Text is always written as text, never as a formula.
"""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.utils import translation
from django.utils.translation import gettext as _
from xlsxwriter import Workbook
from xlsxwriter.utility import xl_col_to_name

from config import formatting
from ledger.core.books_csv import safe_cell
from reports.packets.words import CAUTIONS

OPTIONS = {
    "in_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
}
EPOCH = (1980, 1, 1, 0, 0, 0)


def annual_xlsx(data: Mapping[str, Any]) -> bytes:
    """The workbook: a cover and one sheet a schedule, in the snapshot's language."""
    out = io.BytesIO()
    with translation.override(str(data["language"])):
        book = Workbook(out, dict(OPTIONS))
        made = datetime.fromisoformat(f"{data['as_of']}T12:00:00")
        book.set_properties({"title": _("Annual packet"), "created": made})
        _Sheets(book, data).write()
        book.close()
    return out.getvalue()


class _Sheets:
    """Writes the sheets; `stated` and `again` rows stand under each table with sums."""

    def __init__(self, book: Workbook, data: Mapping[str, Any]) -> None:
        self.book, self.data = book, data
        self.head = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
        self.bold = book.add_format({"bold": True})
        self.money = book.add_format({"num_format": "#,##0.00"})
        self.sum = book.add_format({"num_format": "#,##0.00", "bold": True, "top": 1})
        self.rate = book.add_format({"num_format": "0.0000%"})
        self.day = book.add_format({"num_format": "yyyy-mm-dd"})
        self.plain = book.add_format({"num_format": "@"})

    def write(self) -> None:
        """The cover, then the schedules in order."""
        sheet = self.book.add_worksheet(_("Cover"))
        sheet.set_column(0, 0, 60)
        sheet.set_column(1, 1, 24)
        title = f"{_('Annual packet')} {self.data['year']}: {self.data['household']['name']}"
        sheet.write_string(0, 0, title, self.bold)
        sheet.write_string(1, 0, _("Inputs, SHA-256"))
        sheet.write_string(1, 1, self.data["input_digest"])
        at = 3
        for _key, word, amount in self.data["figures"]:
            sheet.write_string(at, 0, _(word))
            sheet.write_number(at, 1, float(Decimal(amount)), self.money)
            at += 1
        for one in CAUTIONS:
            at += 1
            sheet.write_string(at, 0, _(one))
        for one in self.data["schedules"]:
            self._schedule(one)

    def _schedule(self, one: Mapping[str, Any]) -> None:
        sheet = self.book.add_worksheet(f"{one['number']:02d}")
        sheet.set_column(0, 15, 17)
        sheet.write_string(0, 0, f"{one['number']}. {_(one['title'])}", self.bold)
        at = 2
        for note in one["notes"]:
            sheet.write_string(at, 0, _(note))
            at += 1
        for lack in one["missing"]:
            sheet.write_string(at, 0, f"{_('Missing')}: {_(lack['what'])} ({_(lack['who'])})")
            at += 1
        for table in one["tables"]:
            at = self._table(sheet, at + 1, table)

    def _table(self, sheet: Any, at: int, table: Mapping[str, Any]) -> int:
        columns, rows, totals = table["columns"], table["rows"], table["totals"]
        sheet.write_string(at, 0, _(table["title"]), self.bold)
        at += 1
        for place, column in enumerate(columns):
            sheet.write_string(at, place, _(column["title"]), self.head)
        first = at + 1
        for row in rows:
            at += 1
            for place, (column, value) in enumerate(zip(columns, row, strict=True)):
                self._cell(sheet, at, place, column["type"], value)
        if table["check"]:
            self._check(sheet, first, table)
        if totals:
            end = at
            for place, column in enumerate(columns):
                if column["key"] not in totals:
                    continue
                stated = float(Decimal(totals[column["key"]]))
                name = xl_col_to_name(place)
                again = f"=ROUND(SUM({name}{first + 1}:{name}{end + 1}),2)"
                gap = f"=ROUND({name}{end + 2}-{name}{end + 3},2)"
                sheet.write_number(end + 1, place, stated, self.sum)
                sheet.write_formula(end + 2, place, again, self.money, stated)
                sheet.write_formula(end + 3, place, gap, self.money, 0)
            for step, word in enumerate((_("Stated"), _("Computed again"), _("Difference"))):
                sheet.write_string(end + 1 + step, 0, word, self.bold)
            at = end + 3
        return at + 1

    def _check(self, sheet: Any, first: int, table: Mapping[str, Any]) -> None:
        """A column at the right that works each row's closing out again, as a formula."""
        keys = [column["key"] for column in table["columns"]]
        rule, place = table["check"], len(keys)
        stated = keys.index(rule["of"])
        sheet.write_string(first - 1, place, _("Computed again"), self.head)
        for step, row in enumerate(table["rows"]):
            line = first + step + 1
            plus = "+".join(f"{xl_col_to_name(keys.index(key))}{line}" for key in rule["plus"])
            minus = "".join(f"-{xl_col_to_name(keys.index(key))}{line}" for key in rule["minus"])
            value = float(Decimal(row[stated]))
            sheet.write_formula(line - 1, place, f"=ROUND({plus}{minus},2)", self.money, value)

    def _cell(self, sheet: Any, at: int, place: int, kind: str, value: Any) -> None:
        if value in ("", None):
            sheet.write_blank(at, place, None)
        elif kind == "money":
            sheet.write_number(at, place, float(Decimal(value)), self.money)
        elif kind == "rate":
            sheet.write_number(at, place, float(Decimal(value)), self.rate)
        elif kind == "date":
            day = datetime.combine(date.fromisoformat(value), datetime.min.time())
            sheet.write_datetime(at, place, day, self.day)
        else:
            sheet.write_string(at, place, shown(kind, value, self.data["language"]), self.plain)


def shown(kind: str, value: Any, language: str) -> str:
    """A cell's words in the language in force: catalogue words and months put in words."""
    if value in ("", None):
        return ""
    if kind == "word":
        return _(value)
    if kind == "month":
        return formatting.short_month(value, language)
    if kind == "money":
        return formatting.money(value, language)
    if kind == "rate":
        return formatting.percent(value, language, 4)
    if kind == "date":
        return formatting.short_day(value, language)
    return str(value)


def annual_csv(data: Mapping[str, Any]) -> bytes:
    """The tables as CSV in one archive with fixed times: a file a table, keys as heads."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for one in data["schedules"]:
            for table in one["tables"]:
                name = "".join(s if s.isalnum() or s in "-_" else "-" for s in table["name"])
                entry = zipfile.ZipInfo(f"{one['number']:02d}-{name}.csv", EPOCH)
                entry.compress_type = zipfile.ZIP_DEFLATED
                entry.external_attr = 0o644 << 16
                archive.writestr(entry, table_csv(table))
    return out.getvalue()


def table_csv(table: Mapping[str, Any]) -> str:
    """One table: keys, rows as in the snapshot; text that a sheet would run is made plain."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([column["key"] for column in table["columns"]])
    for row in table["rows"]:
        cells = zip(table["columns"], row, strict=True)
        writer.writerow(
            [
                value if one["type"] in ("money", "rate") else safe_cell(str(value))
                for one, value in cells
            ]
        )
    return out.getvalue()


def trace_json(data: Mapping[str, Any]) -> bytes:
    """The trace for the PDF's attachment: figures, draws, ledger, interest, as in the snapshot."""
    chosen = [one for one in data["schedules"] if one["number"] in (3, 4, 5)]
    whole = {
        "format": "towpath/annual-trace",
        "version": 1,
        "household": data["household"]["ref"],
        "year": data["year"],
        "inputs": data["input_digest"],
        "figures": {key: amount for key, _word, amount in data["figures"]},
        "schedules": chosen,
    }
    return (json.dumps(whole, ensure_ascii=False, indent=1) + "\n").encode()


def trace_csv(data: Mapping[str, Any]) -> bytes:
    """The ledger by use (schedule 4) as CSV, for the PDF's attachment."""
    ledger = next(one for one in data["schedules"] if one["number"] == 4)
    return table_csv(ledger["tables"][1]).encode()
