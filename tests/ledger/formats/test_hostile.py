"""Damaged and hostile files: refused fast, with BadInput and nothing else."""

from __future__ import annotations

import time
import tracemalloc

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.problems import BadInput, Problem
from ledger.core.formats.decoding import MOST_BYTES
from ledger.core.formats.faults import MOST
from ledger.core.formats.reading import read_statements
from ledger.core.formats.types import ACCOUNT_TYPES, ReadOptions
from tests.ledger.formats.samples import (
    FRENCH_CSV,
    INVESTMENT_XML,
    LINE_SGML,
    LOAN_XML,
    OWN_CSV,
)
from tests.ledger.formats.test_ofx import refused

SECONDS = 2.0
SEEDS = (LINE_SGML, LOAN_XML, INVESTMENT_XML, OWN_CSV, FRENCH_CSV)
TOKENS = (
    "<", ">", "</", "<OFX>", "</OFX>", "<STMTTRN>", "</STMTTRN>", "<!--", "-->", "<![CDATA[", "]]>",
    "<?", "&", "&amp;", "\n", "\r", ",", ";", '"', "\t", "-", ".", "0", "9" * 40, "1e999", "NaN",
    "20250230", "31/04/2025", "\u2212", "\ufeff", "٣", "[", "[-5:EST]", "[99]", "%", "=", "'",
    "\x0b",
)  # fmt: skip


def outcome(data: bytes, file: str, options: ReadOptions) -> None:
    """Read, and accept only statements or BadInput, inside the time allowed."""
    started = time.process_time()
    problems: tuple[Problem, ...] = ()
    try:
        assert read_statements(data, file, options)
    except BadInput as error:
        problems = error.problems
    assert all(one.message and one.remedy and one.file == file for one in problems)
    assert time.process_time() - started < SECONDS


@settings(max_examples=400, deadline=None)
@given(
    seed=st.sampled_from(SEEDS),
    cuts=st.lists(
        st.tuples(st.floats(0, 1), st.integers(0, 60), st.sampled_from(("", *TOKENS))), max_size=3
    ),
    kind=st.sampled_from((None, *ACCOUNT_TYPES)),
    accept_gap=st.booleans(),
    encoding=st.sampled_from(("utf-8", "utf-16", "cp1252")),
)
def test_mutated_statements_are_read_or_refused(seed, cuts, kind, accept_gap, encoding) -> None:
    text = seed
    for place, length, put in cuts:
        start = int(place * len(text))
        text = text[:start] + put + text[start + length :]
    options = ReadOptions(kind=kind, accept_gap=accept_gap)
    outcome(text.encode(encoding, "replace"), "s.txt", options)


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=300), st.sampled_from((b"", b"<OFX>", b"Date,Amount\n")))
def test_noise_is_refused(noise: bytes, start: bytes) -> None:
    outcome(start + noise, "s.txt", ReadOptions())


HOSTILE = {
    "brackets": "<OFX>" + "<" * (9 * 1024 * 1024),
    "nested": "<OFX>" + "<A>" * 200_000,
    "many elements": "<OFX><STMTRS>" + "<A>1" * 2_000_000,
    "comments": "<OFX>" + "<!--" * 2_000_000,
    "closed comments": "<OFX>" + "<!---->" * 1_000_000,
    "cdata": "<OFX>" + "<![CDATA[" * 1_000_000,
    "instructions": "<OFX>" + "<?" * 3_000_000,
    "closing tags": "<OFX>" + "<A>" * 60 + "</B>" * 1_500_000,
    "long text": "<OFX><A>" + "x" * 9_000_000,
    "long tag": "<OFX><" + "A" * 9_000_000 + ">",
    "attributes": "<OFX>" + "<A " + "b=c " * 2_000_000,
    "ampersands": "<OFX><A>" + "&" * 9_000_000,
    "columns": "Date,Amount\n" + "," * 9_000_000,
    "wide header": "Date,Amount" + ",x" * 4_000_000 + "\n",
    "rows": "Date,Amount\n" + "2025-01-01,1.00\n" * 600_000,
    "bad rows": "Date,Amount\n" + "x,y\n" * 19_000,
    "quotes": 'Date,Amount\n"' + '""' * 4_000_000,
    "long cell": "Date,Amount\n2025-01-01," + "1" * 9_000_000,
    "long date": "Date,Amount\n" + "1" * 2_000 + ",1.00\n",
    "blank lines": "\n" * 9_000_000,
    "spaces": "<OFX>" + " " * 9_000_000,
    "letters": "x" * 9_000_000,
    "bomb": '<?xml version="1.0"?><!DOCTYPE z [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY a{n} "{"&a;" * 10}">' for n in range(10))
    + "]><OFX>&a9;</OFX>",
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_are_refused_in_time_and_memory(name: str) -> None:
    data = HOSTILE[name].encode()
    started = time.process_time()
    with pytest.raises(BadInput) as caught:
        read_statements(data, "s.txt", ReadOptions())
    assert time.process_time() - started < SECONDS
    assert len(caught.value.problems) <= MOST + 1
    tracemalloc.start()
    with pytest.raises(BadInput):
        read_statements(data[: 2 * 1024 * 1024], "s.txt", ReadOptions())
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 256 * 1024 * 1024


def test_a_file_that_is_too_large_is_refused_unread() -> None:
    assert "larger than 10 MB" in refused(b"x" * (MOST_BYTES + 1))[0]


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"", "the file is empty"),
        (b"  \r\n ", "the file is empty"),
        (b"%PDF-1.7 x", "this is a PDF document"),
        (b"PK\x03\x04rest", "this is a zip archive"),
        ("<OFX>".encode("utf-16"), "saved as UTF-16"),
        (b"Date,Amount\n\x81,1\n", "line 2: a byte here is neither UTF-8 nor Windows-1252"),
        (b"Date,Amount\n2025-01-01,1\x00\n", "line 2: the file holds a NUL byte"),
        (b"<OFX></OFX>", "the file holds no statement"),
    ],
)
def test_what_is_not_a_statement_says_what_it_is(data: bytes, expected: str) -> None:
    assert expected in refused(data, file="s.txt")[0]
