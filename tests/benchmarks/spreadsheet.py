"""The plain plan as a spreadsheet: a sheet a household, a row a month, a formula a figure.

Written as flat XML with the standard library and recalculated by LibreOffice without a
screen, where `soffice` is installed. Amounts are whole cents; the arithmetic is the
spreadsheet's own, in floats.
"""

from __future__ import annotations

import csv
import resource
import shutil
import subprocess
import time
from collections.abc import Sequence
from pathlib import Path

from planning.core.kernel.calendar import days_of_month
from planning.core.kernel.exact import FIXED, MONTHLY, PAYMENT
from planning.core.kernel.family import RATE_PLACES, TAX_PLACES
from planning.core.kernel.loading import NAMES, Loaded, load
from planning.core.types import Household

_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?><office:document'
    ' xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0"'
    ' xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0"'
    ' xmlns:of="urn:oasis:names:tc:opendocument:xmlns:of:1.2" office:version="1.2"'
    ' office:mimetype="application/vnd.oasis.opendocument.spreadsheet">'
    "<office:body><office:spreadsheet>"
)
_TAIL = "</office:spreadsheet></office:body></office:document>"

# A to G are inputs: month of the year, payment day, last day, first night, rate,
# payment factor, last payment. {p} is the row before, {r} this one.
_FORMULAS = (
    ("H", "[.R{p}]"),  # the mortgage's opening
    ("I", "ROUND([.H{r}]*[.E{r}];0)"),  # its interest
    ("J", "IF([.F{r}]>0;ROUND([.H{r}]*[.F{r}];0);[.J{p}])"),  # the level payment
    (
        "K",
        "IF(AND([.G{r}]=1;[.H{r}]+[.I{r}]<2*[.J{r}]);[.H{r}]+[.I{r}];MIN([.J{r}];[.H{r}]+[.I{r}]))",
    ),
    ("L", "[.K{r}]-[.I{r}]"),  # principal
    ("M", "IF([.A{r}]={refund_month};[.AC{p}];0)"),  # the refund
    ("N", "IF([.A{r}]=1;{privilege};[.P{p}])"),  # what the privilege still allows
    ("O", "MIN([.AE{r}];MIN([.N{r}];[.H{r}]-[.L{r}]))"),  # prepaid
    ("P", "[.N{r}]-[.O{r}]"),
    ("Q", "MAX(0;[.Q{p}]-[.L{r}]-[.O{r}])"),  # the part above the cap
    ("R", "[.H{r}]-[.L{r}]-[.O{r}]"),  # the mortgage's closing
    (
        "S",  # the re-borrow
        "MAX(0;MIN([.L{r}]+[.O{r}]-[.Q{p}]+[.Q{r}];{room}-[.T{p}]-{reserve}))".replace(
            "{room}", "MIN({line_cap};MIN({registered};{cap65}+[.Q{r}])-[.R{r}])"
        ),
    ),
    ("T", "[.T{p}]+[.S{r}]"),  # the line
    (
        "U",
        "ROUND(([.T{p}]*([.B{r}]-[.D{r}])+[.T{r}]*([.C{r}]-[.B{r}]))*{line_rate}/365;0)",
    ),
    ("V", "ROUND([.W{p}]*{growth};0)"),
    ("W", "[.W{p}]+[.S{r}]+[.V{r}]"),  # the portfolio
    ("X", "ROUND([.W{p}]*{yield1}/12;0)"),
    ("Y", "ROUND([.W{p}]*{yield2}/12;0)"),
    ("Z", "IF([.H{r}]>0;0;[.Z{p}])+[.X{r}]+[.Y{r}]"),  # distributions held
    ("AA", "IF([.A{r}]=1;0;[.AA{p}])+[.U{r}]"),  # deducted this year
    ("AB", "IF([.A{r}]=1;0;[.AB{p}])+[.X{r}]*{tax1}+[.Y{r}]*{tax2}"),
    ("AC", "IF([.A{r}]=12;ROUND({ordinary}*[.AA{r}]-[.AB{r}];0);[.AC{p}])"),  # saving
    ("AD", "MAX(0;[.M{r}])+IF([.H{r}]>0;[.Z{p}];0)-[.O{r}]"),  # refused
    ("AE", "IF([.H{r}]>0;MAX(0;[.M{r}])+[.Z{p}];0)"),  # offered
)
_FIGURES = ("SUM(I)", "SUM(U)", "SUM(U)", "SUM(S)", "SUM(O)", "SUM(M)", "SUM(AD)", "R", "T", "W")
"""The figures of KEYS: sums of columns, or a column's last row."""


def _cell(formula: str) -> str:
    text = formula.replace("<", "&lt;").replace(">", "&gt;")
    return f'<table:table-cell table:formula="of:={text}"/>'


def _number(value: float) -> str:
    return f'<table:table-cell office:value-type="float" office:value="{value!r}"/>'


def _row(cells: Sequence[str]) -> str:
    return "<table:table-row>" + "".join(cells) + "</table:table-row>"


def _sheet(name: str, record: dict[str, int], changes: dict[int, tuple[int, int]]) -> str:
    """One household: row 1 holds the opening figures, row 2 on the months."""
    scale = FIXED if not record["simple"] else MONTHLY
    inputs = {
        **record,
        "line_rate": record["line_rate"] / 10**RATE_PLACES,
        "growth": (1 - 2 * record["falls"]) * record["growth"] / FIXED,
        "yield1": record["yield_eligible_dividend"] * 12 / MONTHLY,
        "yield2": record["yield_foreign"] * 12 / MONTHLY,
        "tax1": record["tax_eligible_dividend"] / 10**TAX_PLACES,
        "tax2": record["tax_foreign"] / 10**TAX_PLACES,
        "ordinary": record["ordinary"] / 10**TAX_PLACES,
    }
    opening = {"J": record["payment"], "P": record["privilege"], "Q": record["excess"],
               "R": record["mortgage"]}  # fmt: skip
    lettered = [chr(65 + one) for one in range(7)] + [one for one, _text in _FORMULAS]
    rows = [_row([_number(opening.get(one, 0)) for one in lettered])]
    rate = record["rate"]
    for month in range(record["months"]):
        at = record["start"] + month
        last = days_of_month(at)
        factor = 0
        if month in changes:
            rate, factor = changes[month]
        given = (at % 12 + 1, min(record["pay_day"], last), last, int(month == 0), rate / scale,
                 factor / PAYMENT, int(month + 1 >= record["contractual"]))  # fmt: skip
        place = {"r": month + 2, "p": month + 1}
        cells = [_number(one) for one in given]
        cells += [_cell(text.format(**inputs, **place)) for _letter, text in _FORMULAS]
        rows.append(_row(cells))
    return f'<table:table table:name="{name}">' + "".join(rows) + "</table:table>"


def write_book(households: Sequence[Household], target: Path) -> None:
    """The households as one flat file; its first sheet has a row of figures for each."""
    loaded: Loaded = load(households)
    summary, sheets = [], []
    for index, values in enumerate(loaded.table.T.tolist()):
        record = dict(zip(NAMES, values, strict=True))
        changes = {row[1]: (row[2], row[4]) for row in loaded.changes.tolist() if row[0] == index}
        name, end = f"h{index}", record["months"] + 1
        sheets.append(_sheet(name, record, changes))
        figures = [
            f"SUM([{name}.{one[4:-1]}2:{name}.{one[4:-1]}{end}])"
            if one.startswith("SUM")
            else f"[{name}.{one}{end}]"
            for one in _FIGURES
        ]
        summary.append(_row([_cell(one) for one in figures]))
    head = '<table:table table:name="figures">' + "".join(summary) + "</table:table>"
    target.write_text(_HEAD + head + "".join(sheets) + _TAIL, encoding="utf-8")


def recalculated(book: Path, folder: Path) -> tuple[list[list[int]], float, float]:
    """LibreOffice's figures of a book, and the wall and processor seconds it took, cold."""
    soffice = shutil.which("soffice")
    assert soffice is not None
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(
        [soffice, "--headless", f"-env:UserInstallation=file://{folder}/profile",
         "--convert-to", "csv", "--outdir", str(folder), str(book)],
        check=True, capture_output=True, timeout=300,
    )  # fmt: skip
    wall, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    with (folder / f"{book.stem}.csv").open(encoding="utf-8") as file:
        rows = [[round(float(one)) for one in row] for row in csv.reader(file)]
    return rows, wall, spent


def compare(
    households: Sequence[Household], expected: Sequence[Sequence[int]], folder: Path
) -> dict[str, float] | None:
    """Time one household and all of them, cold; None without LibreOffice.

    The difference leaves the start out: `per_household` is processor seconds. `unequal`
    counts the figures that differ from `expected`.
    """
    if shutil.which("soffice") is None:
        return None
    single, whole = folder / "one.fods", folder / "many.fods"
    write_book(households[:1], single)
    write_book(households, whole)
    recalculated(single, folder)  # the first start sets its profile up
    _rows, wall, alone = recalculated(single, folder)
    rows, _wall, together = recalculated(whole, folder)
    unequal = sum(
        one != other
        for row, wanted in zip(rows, expected, strict=True)
        for one, other in zip(row, wanted, strict=True)
    )
    per_household = (together - alone) / (len(households) - 1)
    return {"cold_seconds": wall, "per_household": per_household, "unequal": unequal}
