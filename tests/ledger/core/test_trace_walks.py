"""A draw's life and a statement line's fate, forward and back, tie with the trace."""

from __future__ import annotations

from collections import defaultdict

import pytest

from ledger.core.deductions import deduction_years
from ledger.core.trace_view_draw import draw_life
from ledger.core.trace_view_line import entry_fate
from ledger.core.trace_view_shares import shares_of
from ledger.core.tracing import trace
from planning.core.months import month_of
from tests.ledger.core.builders import household, traced
from tests.ledger.core.test_trace_shares import CASES, a_household


@pytest.mark.parametrize("case", [one for one in CASES if one != "plan-only"])
def test_every_draw_and_every_entry_ties(case: str | int) -> None:
    found = a_household(case)
    ours = trace(found, max(one.ends for one in found.statements))
    shares = shares_of(found, ours)
    years = {one.year: one.deductible for one in deduction_years(found, ours, month_of(ours.as_of))}
    by_draw: dict[int, int] = defaultdict(int)
    for draw in ours.draws:
        life = draw_life(found, ours, shares, draw.id)
        assert life is not None
        first = life.steps[0].cents if life.steps else 0
        assert first <= draw.classes[0]
        assert sum(one.cents for one in life.steps if one.kind != "relink") == sum(
            one.left for one in life.holdings
        )
        assert life.posted == life.waiting + sum(one.cents for one in life.years)
        assert life.waiting >= 0
        for share in life.years:
            by_draw[share.year] += share.cents
    by_posting: dict[int, int] = defaultdict(int)
    by_payer: dict[int, int] = defaultdict(int)
    entries = [(one, entry) for one in found.statements for entry in one.entries]
    for _, entry in entries:
        fate = entry_fate(found, ours, shares, entry.id)
        assert fate is not None
        assert fate.entry is entry
        if entry.kind == "interest" and fate.account_kind == "line":
            for share in fate.years:
                by_posting[share.year] += share.cents
        if fate.payments and entry.kind != "interest":
            for share in fate.years:
                by_payer[share.year] += share.cents
    deducted = {year: cents for year, cents in years.items() if cents}
    assert dict(by_posting) == deducted
    if found.facility.capitalised_interest != "paid-by-advance":
        assert dict(by_draw) == deducted
    if found.facility.interest_method == "paid" and not any(
        "gap" in one.id or "break" in one.id for one in ours.payments
    ):
        assert (dict(by_payer) == deducted) or (
            found.facility.capitalised_interest == "paid-by-advance"
        )


def test_a_draw_from_its_purchase_to_the_money_that_left() -> None:
    contribution = {"id": "buy-1", "date": "2025-01-03", "kind": "contribution",
                    "amount": "1000.00", "from": "line-1"}  # fmt: skip
    bought = {"id": "etf-1", "date": "2025-01-04", "kind": "buy", "amount": "1000.00"}
    capital = {"id": "roc-1", "date": "2025-06-01", "kind": "withdrawal", "amount": "200.00",
               "of": "return_of_capital", "to": "personal"}  # fmt: skip
    found = household(
        "2025-01-01 draw 1000.00 none\n2025-01-31 interest 5.00\n2025-02-05 repayment 5.00",
        [contribution, bought, capital],
        uses=[{"draw": "line-1", "splits": [
            {"amount": "1000.00", "use": "income-investment", "to": "inv"}]}],
    )  # fmt: skip
    ours = traced(found)
    shares = shares_of(found, ours)
    life = draw_life(found, ours, shares, "line-1")
    assert life is not None
    (claim,) = life.claims
    assert [(one.id, one.account) for one in claim.purchases] == [
        ("buy-1", "inv"),
        ("etf-1", "inv"),
    ]
    assert (claim.rule, claim.papers) == ("use", ())
    assert [(one.id, one.cents, one.left, one.rule) for one in life.steps] == [
        ("line-1", 1000_00, 1000_00, "use"),
        ("roc-1", -200_00, 800_00, "capital"),
    ]
    (holding,) = life.holdings
    assert (holding.target, holding.left, holding.linked) == ("inv", 800_00, 800_00)
    assert [(one.year, one.cents) for one in life.years] == [(2025, 5_00)]
    forward = entry_fate(found, ours, shares, "buy-1")
    assert forward is not None
    assert (forward.draw, [one.cents for one in forward.years]) == ("line-1", [5_00])
    gone = entry_fate(found, ours, shares, "roc-1")
    assert gone is not None
    assert [one.moved for one in gone.leaks] == [200_00]
    interest = entry_fate(found, ours, shares, "line-2")
    assert interest is not None
    assert [(one.id, one.classes[0]) for one in interest.payments] == [("line-3", 5_00)]


def test_an_entry_after_the_trace_has_no_fate_yet_and_an_unknown_one_none() -> None:
    found = household("2025-01-01 draw 1000.00 invest\n2025-06-30 draw 500.00 personal")
    ours = traced(found, "2025-03-31")
    shares = shares_of(found, ours)
    later = entry_fate(found, ours, shares, "line-2")
    assert later is not None
    assert not later.seen
    assert entry_fate(found, ours, shares, "line-9") is None
    assert draw_life(found, ours, shares, "line-2") is None
