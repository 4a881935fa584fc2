"""A second opinion on OFX: ofxparse 0.21 (MIT) reads the same postings and balances.

It knows bank, card and investment statements, not loans, and takes dates in
UTC, so the statements here carry dates without a time.
"""

from __future__ import annotations

import io

import pytest

from ledger.core.formats.reading import read_statements
from ledger.core.formats.render import render_ofx1, render_ofx2
from ledger.core.formats.types import ReadOptions
from tests.ledger.formats.samples import INVESTMENT_XML, LINE_SGML, OWN_CSV

ofxparse = pytest.importorskip("ofxparse")


def other(text: str):
    return (
        ofxparse.OfxParser.parse(io.BytesIO(text.encode("ascii", "xmlcharrefreplace")))
        .accounts[0]
        .statement
    )


def written(render) -> str:
    (one,) = read_statements(OWN_CSV.encode(), "s.csv", ReadOptions())
    return render(one, "900-1234567")


@pytest.mark.parametrize(
    "text", [LINE_SGML, written(render_ofx1), written(render_ofx2)], ids=["bank", "ofx1", "ofx2"]
)
def test_a_line_statement_reads_the_same_by_another_reader(text: str) -> None:
    (ours,) = read_statements(text.encode(), "s.ofx", ReadOptions())
    theirs = other(text)
    assert theirs.start_date.date() == ours.starts
    assert theirs.end_date.date() == ours.ends
    assert -theirs.balance * 100 == ours.closing_cents
    assert [(one.id, one.date.date(), abs(one.amount) * 100) for one in theirs.transactions] == [
        (one.external_id, one.date, one.amount_cents) for one in ours.entries
    ]
    lowers = [one.amount > 0 for one in theirs.transactions]
    assert lowers == [one.kind == "repayment" for one in ours.entries]


def test_an_investment_statement_reads_the_same_by_another_reader() -> None:
    (ours,) = read_statements(INVESTMENT_XML.encode(), "s.ofx", ReadOptions())
    theirs = other(INVESTMENT_XML)
    shared = {one.external_id: one for one in ours.entries}
    seen = [one for one in theirs.transactions if getattr(one, "total", None)]
    assert len(seen) >= 5
    for one in seen:
        assert shared[one.id].date == one.tradeDate.date()
        assert shared[one.id].amount_cents == abs(one.total) * 100
