"""Each rule of an investment account: own money, pools, what leaves and where to."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.core.trace_types import Trace
from tests.ledger.core.builders import household, traced

DRAW = "2025-01-01 draw 8000.00 invest"


def buy(amount: str = "8000.00", day: str = "2025-01-01", **more: str) -> dict[str, str]:
    return {"id": f"c-{day}-{amount}", "date": day, "kind": "contribution", "amount": amount,
            **more}  # fmt: skip


LINKED = buy(**{"from": "line-1"})
OWN = buy("2000.00", "2025-01-02", **{"from": "own"})


def pay(amount: str, of: str = "eligible_dividend", paid: str = "cash") -> dict[str, str]:
    return {"id": f"d-{of}-{amount}", "date": "2025-02-01", "kind": "distribution",
            "amount": amount, "of": of, "paid": paid}  # fmt: skip


def out(amount: str, to: str = "personal", **more: str) -> dict[str, str]:
    return {"id": f"w-{amount}", "date": "2025-03-01", "kind": "withdrawal", "amount": amount,
            "to": to, **more}  # fmt: skip


def life(*account: dict[str, Any], opening: str = "0.00", line: str = DRAW) -> Trace:
    return traced(household(line, list(account), account_opening=opening))


# -- own money ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("entries", "own"),
    [((OWN,), 2_000_00),
     ((buy("2000.00", "2025-01-09"),), 2_000_00),
     ((LINKED,), 0),
     ((buy(),), 0),
     ((buy("50.00", "2025-01-09", **{"from": "line-1"}),), 0),
     ((OWN, pay("70.00", paid="reinvested")), 2_070_00),
     ((OWN, pay("70.00", "return_of_capital", "reinvested")), 2_000_00),
     ((OWN, pay("70.00")), 2_000_00)],
)  # fmt: skip
def test_what_counts_as_own_money(entries: tuple[dict[str, str], ...], own: int) -> None:
    assert life(*entries).own["inv"] == own


def test_own_money_starts_at_the_opening_less_what_an_opening_debt_bought() -> None:
    uses = [{"draw": "line-opening", "splits": [
        {"amount": "600.00", "use": "income-investment", "to": "inv",
         "evidence": ["x"]}]}]  # fmt: skip
    found = household("", [], opening="600.00", account_opening="1000.00", uses=uses)
    assert traced(found).own["inv"] == 400_00
    poor = household("", [], opening="600.00", account_opening="100.00", uses=uses)
    assert traced(poor).own["inv"] == 0


# -- pools ------------------------------------------------------------------------------


def test_cash_leaves_as_income_then_capital_then_proceeds() -> None:
    end = life(
        LINKED, OWN, pay("100.00"), pay("50.00", "return_of_capital"), out("1150.00"),
        opening="0.00",
    )  # fmt: skip
    # Income 100 moves nothing; of 50 capital 80 % is linked; 1,000 are proceeds of an
    # account that shows no value (f = 1), so the whole link meets proceeds below it.
    assert [(one.rule, one.moved) for one in end.leaks] == [
        ("capital", 40_00), ("proceeds", 1_000_00),
    ]  # fmt: skip
    assert end.lines["line"].principal == (8_000_00 - 1_040_00, 0, 1_040_00)
    reclass = [row for row in end.lines["line"].rows if row.kind == "reclass"]
    assert [(row.id, row.amount, row.change) for row in reclass] == [
        ("w-1150.00", 40_00, (-40_00, 0, 40_00)),
        ("w-1150.00", 1_000_00, (-1_000_00, 0, 1_000_00)),
    ]


def test_capital_and_proceeds_of_one_withdrawal_are_measured_on_what_stood_before() -> None:
    end = life(
        LINKED, OWN, pay("500.00", "return_of_capital"),
        out("1500.00", cost_fraction="0.1"),
    )  # fmt: skip
    # Capital: 80 % of 500. Proceeds 1,000 at f = 0.1: debt of the part sold 800, all spent.
    assert [one.moved for one in end.leaks] == [400_00, 800_00]
    assert end.own["inv"] == 2_000_00 - 100_00 - 200_00


def test_what_says_its_source_is_believed_and_empties_its_own_pool() -> None:
    end = life(LINKED, pay("100.00"), out("130.00", of="income"), out("40.00"))
    assert [(one.id, one.excess) for one in end.overstated] == [("w-130.00", 30_00)]
    # The income pool is empty now: the next forty dollars are proceeds.
    assert [one.rule for one in end.leaks] == ["proceeds"]


# -- destinations -------------------------------------------------------------------------


@pytest.mark.parametrize("to", ["personal", "mortgage", "registered", "idle", "tfsa"])
def test_capital_that_leaves_takes_its_share_of_the_link_along(to: str) -> None:
    end = life(LINKED, OWN, out("1000.00", to, of="return_of_capital"))
    assert end.lines["line"].principal == (7_200_00, 0, 800_00)
    assert (end.own["inv"], end.linked["inv"]) == (1_800_00, 7_200_00)


def test_income_never_moves_anything() -> None:
    end = life(LINKED, OWN, pay("100.00"), out("100.00", of="income"))
    assert (end.leaks, end.own["inv"]) == ((), 2_000_00)


def test_money_for_the_line_moves_nothing_but_own_money_leaves() -> None:
    end = life(LINKED, OWN, out("1000.00", "line", of="return_of_capital"))
    assert (end.leaks, end.linked["inv"], end.own["inv"]) == ((), 8_000_00, 1_800_00)


def test_the_link_follows_money_into_another_account() -> None:
    end = life(LINKED, OWN, out("1000.00", "inv2", of="proceeds", cost_fraction="0.1"))
    line = end.lines["line"]
    assert line.principal == (8_000_00, 0, 0)
    assert (line.targets["inv"], line.targets["inv2"]) == (7_200_00, 800_00)
    assert (end.own["inv"], end.own["inv2"]) == (1_800_00, 200_00)
    assert not end.leaks
    assert all(row.kind != "reclass" for row in line.rows)
    assert [(one.source, one.to, one.cents) for one in end.relinks] == [("inv", "inv2", 800_00)]


@pytest.mark.parametrize(
    ("to", "principal", "rules"),
    [("inv2", (8_000_00, 0, 0), []), ("tfsa", (6_000_00, 0, 2_000_00), ["registered"])],
)
def test_a_transfer_in_kind_carries_the_link(
    to: str, principal: tuple[int, int, int], rules: list[str]
) -> None:
    move = {"id": "k1", "date": "2025-03-01", "kind": "transfer-in-kind", "amount": "3000.00",
            "to": to, "cost_fraction": "0.25"}  # fmt: skip
    end = life(LINKED, OWN, move)
    assert end.lines["line"].principal == principal
    assert [one.rule for one in end.leaks] == rules
    assert end.own["inv"] == 1_500_00


def test_the_cost_fraction_is_by_default_the_amount_over_the_value_before() -> None:
    end = life(LINKED, OWN, out("2500.00", of="proceeds"), opening="10000.00")
    # No statement ended before: 2,500 over the opening of 10,000. Debt of the part 2,000.
    assert [one.moved for one in end.leaks] == [2_000_00]


def test_a_move_is_shared_over_the_lines_by_what_each_has_in_the_account() -> None:
    found = household(
        "2025-01-01 draw 100.00 invest",
        [out("50.00", of="return_of_capital")],
        other_lines={"line2": "2025-01-01 draw 200.00 invest"},
    )
    end = traced(found)
    (leak,) = end.leaks
    assert (leak.moved, leak.by_line) == (50_00, (("line", 16_67), ("line2", 33_33)))


def test_a_total_sale_at_a_loss_moves_what_was_spent_or_the_whole_link_when_reinvested() -> None:
    sale = {"of": "proceeds", "cost_fraction": "1"}
    spent = life(LINKED, out("3000.00", **sale)).lines["line"]
    assert spent.principal == (5_000_00, 0, 3_000_00)
    kept = life(LINKED, out("3000.00", "inv2", **sale)).lines["line"]
    assert (kept.principal, kept.targets["inv2"]) == ((8_000_00, 0, 0), 8_000_00)


def test_a_registered_account_is_never_followed() -> None:
    uses = [{"draw": "line-1", "splits": [
        {"amount": "10.00", "use": "income-investment", "to": "tfsa",
         "evidence": []}]}]  # fmt: skip
    end = traced(household("2025-01-01 draw 10.00", uses=uses))
    assert end.lines["line"].principal == (0, 0, 10_00)
    assert end.linked["tfsa"] == 0
