"""One door to every format: bytes in, statements out."""

from __future__ import annotations

from pathlib import PurePath

from ledger.core.formats.csv import read_csv
from ledger.core.formats.decoding import decode
from ledger.core.formats.faults import Faults
from ledger.core.formats.ofx import looks_like_ofx, read_ofx
from ledger.core.formats.types import ParsedStatement, ReadOptions

OFX_NAMES = (".ofx", ".qfx", ".qbo")
CSV_NAMES = (".csv", ".tsv", ".txt")
NAMES = (*OFX_NAMES, *CSV_NAMES)


def read_statements(data: bytes, file: str, options: ReadOptions) -> tuple[ParsedStatement, ...]:
    """Every statement of a file, in file order. Raises BadInput, and nothing else.

    The content decides the format; a name that says otherwise is a problem,
    since then one of the two is wrong.
    """
    faults = Faults(file)
    text = decode(data, faults)
    suffix = PurePath(file).suffix.lower()
    is_ofx = looks_like_ofx(text)
    if is_ofx and suffix in (".csv", ".tsv"):
        faults.add(0, "", "the file is named as CSV but holds OFX", "Rename it to end in .ofx")
    if not is_ofx and suffix in OFX_NAMES:
        faults.add(
            0, "OFX", "there is no <OFX> element", "Export the statement as OFX or QFX again"
        )
    faults.stop_if_any()
    return read_ofx(text, faults, options) if is_ofx else read_csv(text, faults, options)
