"""The shape of a CSV file: delimiter, header block, header row, columns, rows."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NoReturn

from ledger.core.formats.csv_names import (
    COLUMN_OF,
    COLUMNS,
    HEADER_KEYS,
    KEY_OF,
    OWN_COLUMNS,
)
from ledger.core.formats.faults import Faults, shown
from ledger.core.formats.words import plain

OWN_MARK = "towpath statement"
OWN_VERSION = "1"
MOST_COLUMNS = 200
MOST_ROWS = 20_000
MOST_CELL = 2_000
DELIMITERS = (",", ";", "\t")


@dataclass(frozen=True, slots=True)
class Cells:
    """The cells of one row and the line it starts on."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HeaderLine:
    """A line of the header block: what it is about and its values."""

    line: int
    key: str
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """A posting's cells by column; absent columns read as ""."""

    line: int
    by_column: tuple[tuple[str, str], ...]

    def get(self, column: str) -> str:
        """The cell under a column, without surrounding spaces."""
        return next((text for name, text in self.by_column if name == column), "")


@dataclass(frozen=True, slots=True)
class Table:
    """A CSV file taken apart. `own` says it is in our own layout."""

    own: bool
    header: tuple[HeaderLine, ...]
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    line: int


def split_table(text: str, mapping: tuple[tuple[str, str], ...], faults: Faults) -> Table:
    """Take the text apart. Raises BadInput when it has no readable shape."""
    _refuse_wide(text, faults)
    if mapping and all(header.isdigit() for _, header in mapping):
        return _numbered_table(text, mapping, faults)
    best: tuple[int, int, list[Cells], dict[int, str]] | None = None
    broken: csv.Error | None = None
    broken_line = 0
    for delimiter in DELIMITERS:
        records, error, error_line = _records(text, delimiter)
        index, roles = _header_row(records, mapping)
        if roles and (best is None or len(roles) > len(best[3])):
            best = (len(roles), index, records, roles)
            broken, broken_line = error, error_line
    if best is None:
        _no_header(mapping, faults)
        raise faults.stop()
    if broken is not None:
        _unreadable(broken_line, broken, faults)
    _, index, records, roles = best
    return _table(records, index, roles, faults)


def _numbered_table(text: str, mapping: tuple[tuple[str, str], ...], faults: Faults) -> Table:
    """A file without header row, its columns given by number from 1."""
    delimiter = max(DELIMITERS, key=text.count)
    records, error, line = _records(text, delimiter)
    if error is not None:
        _unreadable(line, error, faults)
    roles = {int(number) - 1: role for role, number in mapping}
    filled = [one for one in records if any(one.cells)]
    rows = tuple(Row(one.line, _by_column(one, roles)) for one in filled)
    return Table(
        own=False, header=(), columns=tuple(dict.fromkeys(roles.values())), rows=rows, line=1
    )


def _unreadable(line: int, error: csv.Error, faults: Faults) -> NoReturn:
    faults.add(
        line,
        "",
        f"the row cannot be read ({error})",
        "A quotation mark is not closed; the file may have been cut short",
    )
    raise faults.stop()


def _refuse_wide(text: str, faults: Faults) -> None:
    lines = text.split("\n")
    if len(lines) > MOST_ROWS:
        faults.add(
            MOST_ROWS, "", f"the file has more than {MOST_ROWS} lines", "Export a shorter period"
        )
        raise faults.stop()
    for number, line in enumerate(lines, start=1):
        if max(line.count(one) for one in DELIMITERS) >= MOST_COLUMNS:
            faults.add(
                number,
                "",
                f"the row has more than {MOST_COLUMNS} columns",
                "Export the statement again, one row a posting",
            )
            raise faults.stop()


def _records(text: str, delimiter: str) -> tuple[list[Cells], csv.Error | None, int]:
    reader = csv.reader(io.StringIO(text), delimiter=delimiter, strict=True)
    records: list[Cells] = []
    line = 1
    try:
        for row in reader:
            records.append(Cells(line, tuple(cell.strip() for cell in row)))
            line = reader.line_num + 1
    except csv.Error as error:
        return records, error, line
    return records, None, 0


def _header_row(
    records: list[Cells], mapping: tuple[tuple[str, str], ...]
) -> tuple[int, dict[int, str]]:
    """The first row that names a date and an amount, and its columns by place."""
    wanted = {plain(header): role for role, header in mapping}
    for index, record in enumerate(records[:100]):
        names = [plain(cell) for cell in record.cells]
        roles = {place: wanted[name] for place, name in enumerate(names) if name in wanted}
        if wanted and len(set(roles.values())) < len(mapping):
            continue
        taken = set(roles.values())
        for place, name in enumerate(names):
            role = COLUMN_OF.get(name)
            if place not in roles and role and role not in taken:
                roles[place] = role
        if {"date"} <= set(roles.values()) and {"amount", "debit", "credit"} & set(roles.values()):
            return index, _prefer(roles, names, wanted)
    return 0, {}


def _prefer(roles: dict[int, str], names: list[str], mapped: Iterable[str]) -> dict[int, str]:
    """One place a column, the earliest listed name winning; descriptions are joined."""
    chosen: dict[int, str] = {}
    fixed = set(mapped)
    for role in dict.fromkeys(roles.values()):
        places = [place for place, one in roles.items() if one == role]
        if role != "description":
            order = COLUMNS.get(role, ())
            places.sort(
                key=lambda place: (
                    names[place] not in fixed,
                    order.index(names[place]) if names[place] in order else 99,
                    place,
                )
            )
            places = places[:1]
        chosen |= dict.fromkeys(places, role)
    return dict(sorted(chosen.items()))


def _no_header(mapping: tuple[tuple[str, str], ...], faults: Faults) -> None:
    if mapping:
        names = ", ".join(header for _, header in mapping)
        faults.add(0, "", f"no row names the mapped columns ({names})", "Correct --map")
    else:
        faults.add(
            0,
            "",
            "no header row names a date and an amount",
            "Add one such as Date,Description,Amount,Balance, or give --map date=1,amount=3 "
            "with column names or numbers",
        )


def _table(records: list[Cells], index: int, roles: dict[int, str], faults: Faults) -> Table:
    own = bool(records[0].cells) and plain(records[0].cells[0]) == OWN_MARK
    if own and records[0].cells[1:2] != (OWN_VERSION,):
        faults.add(1, "", "this version of the layout is not known", f"Write {OWN_MARK},1")
    header = list(_header_lines(records[:index], own, faults))
    width = len(records[index].cells)
    if own:
        for place, cell in enumerate(records[index].cells):
            if cell not in OWN_COLUMNS or roles.get(place) != cell:
                faults.add(
                    records[index].line,
                    cell,
                    f"{shown(cell)} is not a column of this layout",
                    f"Use: {', '.join(OWN_COLUMNS)}",
                )
    rows: list[Row] = []
    date_place = next(place for place, role in roles.items() if role == "date")
    for record in records[index + 1 :]:
        if not any(record.cells):
            continue
        trailer = _trailer(record, date_place)
        if trailer and not own:
            header.append(trailer)
            continue
        if len(record.cells) > width and any(record.cells[width:]):
            faults.add(
                record.line,
                "",
                f"the row has {len(record.cells)} cells under {width} headers",
                "Put text that holds the delimiter in quotation marks",
            )
            continue
        long = [cell for cell in record.cells if len(cell) > MOST_CELL]
        if long:
            faults.add(record.line, "", "a cell is longer than 2000 characters", "Shorten it")
            continue
        rows.append(Row(record.line, _by_column(record, roles)))
    return Table(
        own, tuple(header), tuple(dict.fromkeys(roles.values())), tuple(rows), records[index].line
    )


def _by_column(record: Cells, roles: dict[int, str]) -> tuple[tuple[str, str], ...]:
    found: dict[str, list[str]] = {}
    for place, role in roles.items():
        if place < len(record.cells):
            found.setdefault(role, []).append(record.cells[place])
    return tuple((role, " ".join(part for part in parts if part)) for role, parts in found.items())


def _header_lines(records: list[Cells], own: bool, faults: Faults) -> Iterable[HeaderLine]:  # noqa: FBT001
    for record in records[1:] if own else records:
        cells = [cell for cell in record.cells if cell] if not own else list(record.cells)
        if not any(cells):
            continue
        label, colon, rest = cells[0].partition(":")
        values = [rest.strip(), *cells[1:]] if colon and rest.strip() else cells[1:]
        key = KEY_OF.get(plain(label))
        if key:
            yield HeaderLine(record.line, key, tuple(one for one in values if one))
        elif own:
            faults.add(
                record.line,
                cells[0],
                f"{shown(cells[0])} is not a line of this layout",
                f"Use: {', '.join(HEADER_KEYS)}",
            )


def _trailer(record: Cells, date_place: int) -> HeaderLine | None:
    """A balance or limit written as a row without a date, as some exports do."""
    if date_place < len(record.cells) and any(one.isdigit() for one in record.cells[date_place]):
        return None
    cells = [cell for cell in record.cells if cell]
    key = KEY_OF.get(plain(cells[0].partition(":")[0]))
    if key in ("opening", "closing", "limit", "available", "value") and len(cells) > 1:
        return HeaderLine(record.line, key, (cells[-1],))
    return None
