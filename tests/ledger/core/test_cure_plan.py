"""Cures played on: worked by hand to the cent, and what must hold for every line.

The line of the worked cases is that of CRA letter 2007-0221071E5: 40,000.00
invested and 60,000.00 personal, at 6%, counted over 365 days.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.core.close import evaluate
from ledger.core.cure_future import Move, played, start_after
from ledger.core.cure_plan import CurePlan, cure_plan, sub_accounts
from ledger.core.facts import facts_problems
from ledger.core.trace_adapter import month_flows
from ledger.core.tracing import trace
from planning.core.household_file import household_from_json
from planning.core.money import text_from_cents
from planning.core.types import Household

SAMPLES = Path(__file__).resolve().parents[2] / "samples"


def line_of(
    eligible: int, personal: int, unsupported: int = 0, *, month: str = "2025-10", **changes: Any
) -> Household:
    """A line drawn on the month's first day for these uses, interest posted and paid at its end.

    Only `month` with 31 days. Interest of the 30 nights is posted on the 31st.
    """
    total = eligible + personal + unsupported
    posted = (total * 6 * 30 + 18_250) // 36_500
    draws = {"inv": eligible, "own": personal, "none": unsupported}
    entries = [
        {"id": name, "date": f"{month}-01", "kind": "draw", "amount": text_from_cents(cents)}
        for name, cents in draws.items()
        if cents
    ]
    if posted:
        entries += [
            {"id": f"i{kind}", "date": f"{month}-31", "kind": kind,
             "amount": text_from_cents(posted)}
            for kind in ("interest", "repayment")
        ]  # fmt: skip
    uses = {
        "inv": {"use": "income-investment", "to": "account", "evidence": ["paper"]},
        "own": {"use": "personal", "to": None, "evidence": []},
    }
    file = {
        "format": "towpath/household",
        "version": 1,
        "household": {"ref": "HH-1", "name": "Worked", "province": "ON", "advisor": None},
        "members": [{"ref": "m1", "name": "M", "province": "ON", "born": 1980, "income": {}}],
        "facility": {
            "lender_value": "900000.00",
            "valued_on": None,
            "registered_limit": "720000.00",
            "revolving_cap": "0.65",
            "line_cap": "585000.00",
        },
        "mortgages": [],
        "lines": [{"ref": "line", "day_basis": 365, "spread": "0.0100", "borrowers": ["m1"]}],
        "investments": [{"ref": "account", "kind": "non-registered", "owners": ["m1"]}],
        "prime": [["2025-01-01", "0.0500"]],
        "statements": [
            {
                "account": "line",
                "starts": f"{month}-01",
                "ends": f"{month}-31",
                "opening": "0.00",
                "closing": text_from_cents(total),
                "limit": None,
                "entries": entries,
            }
        ],
        "uses": [
            {"draw": name, "splits": [{"amount": text_from_cents(draws[name]), **use}]}
            for name, use in uses.items()
            if draws[name]
        ],
        "plan": None,
    }
    return household_from_json(file | changes, "worked.json")


def cure_of(household: Household, code: str = "mixed-line", key: str = "line") -> CurePlan:
    """The cure at the close of October 2025."""
    found = cure_plan(household, "2025-10", code, key)
    assert found is not None
    return found


def by_name(plan: CurePlan) -> dict[str, Any]:
    return {one.name: one for one in plan.scenarios}


PUBLISHED = line_of(4_000_000, 6_000_000)


def test_the_published_repayment_played_on() -> None:
    # CRA letter 2007-0221071E5: 20,000 repaid leaves 32,000 and 48,000. Interest on
    # 80,000.00 at 6% over 28 days is 368.22, of it 147.29 deductible.
    household = line_of(4_000_000, 6_000_000, month="2028-01")
    start = start_after(household, "2028-01")
    assert start is not None
    assert start.day == date(2028, 2, 1)
    ahead = played(start, (Move("line", "repayment", 2_000_000),))
    traced = trace(ahead, date(2028, 2, 29))
    assert traced.lines["line"].principal == (3_200_000, 0, 4_800_000)
    last = traced.lines["line"].postings[-1]
    assert (last.nights, last.posted, last.computed) == (28, 36_822, 36_822)
    assert last.classes == (14_729, 0, 22_093)


def test_left_as_it_is_two_fifths_stay_deductible() -> None:
    # One night open on November 1: 100,000.00 x 6% / 365 = 16.44, shared 6.58 and 9.86.
    # Posted on November 30 for 29 nights: 476.71, of it 190.68. Together 197.26.
    left = by_name(cure_of(PUBLISHED))["left"]
    assert left.months[0] == ("2025-11", 658 + 19_068)
    assert (left.classes, left.mixed, left.cash) == ((4_000_000, 0, 6_000_000), True, 0)
    # October's 493.15 brought 197.26, and December's 31 nights 509.59 bring 203.84 (203.836).
    assert left.months[1] == ("2025-12", 20_384)
    assert left.year == 19_726 + 19_726 + 20_384


def test_the_split_repaid_alone_leaves_the_eligible_part_whole() -> None:
    # 40,000.00 x 6% x 29 / 365 = 190.68, and 6.58 of the night before.
    cured = by_name(cure_of(PUBLISHED))["cured"]
    assert cured.months[0] == ("2025-11", 658 + 19_068)
    assert (cured.classes, cured.mixed, cured.cash) == ((4_000_000, 0, 0), False, 6_000_000)


def test_the_same_cash_without_a_split_cures_nothing() -> None:
    # 60,000 repaid on the whole falls two fifths and three fifths: 16,000 and 24,000 stay.
    # 40,000.00 x 6% x 29 / 365 = 190.68, two fifths of it 76.27.
    unsplit = by_name(cure_of(PUBLISHED))["unsplit"]
    assert (unsplit.classes, unsplit.mixed) == ((1_600_000, 0, 2_400_000), True)
    assert unsplit.cash == by_name(cure_of(PUBLISHED))["cured"].cash
    assert unsplit.months[0] == ("2025-11", 658 + 7_627)


def test_paying_everything_takes_the_whole_line_and_ends_the_deduction() -> None:
    payoff = by_name(cure_of(PUBLISHED))["payoff"]
    assert (payoff.classes, payoff.mixed, payoff.cash) == ((0, 0, 0), False, 10_000_000)
    assert [cents for _, cents in payoff.months] == [658] + [0] * 11


def test_the_steps_say_the_amounts() -> None:
    plan = cure_of(PUBLISHED)
    shown = [one.text for one in (*plan.steps, *plan.cautions)]
    assert len(plan.cautions) == 2
    assert " ".join(shown) == (
        "Ask the lender to refinance the 100000.00 of line into sub-accounts, paid out on the "
        "same day to the cent; keep the lender's statement of the payout. "
        "line-eligible takes over the 40000.00 of eligible use. "
        "line-ineligible takes over the 60000.00 of ineligible use. "
        "Repay the 60000.00 on line-ineligible alone, from own cash. "
        "Do not repay before the split: 60000.00 paid on the undivided line would leave 24000.00 "
        "ineligible, and 40.00% of the principal eligible before and 40.00% after. "
        "Without a split only paying the whole line, 100000.00, clears it."
    )


def test_interest_already_paid_on_ineligible_principal_is_not_restored() -> None:
    # October: 493.15 paid, three fifths of it 295.89.
    assert cure_of(PUBLISHED).not_restored == 29_589


def test_unpaid_interest_is_paid_first_so_that_the_parts_are_principal() -> None:
    household = PUBLISHED
    statement = household.statements[0]
    unpaid = replace(
        statement, entries=statement.entries[:-1], closing_cents=statement.closing_cents + 49_315
    )
    plan = cure_of(replace(household, statements=(unpaid,)))
    # The open night counts the unpaid interest too: 100,493.15 x 6% / 365 = 16.52.
    assert plan.steps[0].text.startswith(
        "Pay the interest open on line from own cash on 2025-11-01: 493.15"
    )
    cured = by_name(plan)["cured"]
    assert (cured.classes, cured.mixed) == ((4_000_000, 0, 0), False)
    assert cured.months[0] == ("2025-11", 19_726 + 661 + 19_068)


def test_money_without_evidence_keeps_an_account_of_its_own() -> None:
    plan = cure_of(line_of(4_000_000, 5_000_000, 1_000_000))
    cured = by_name(plan)["cured"]
    assert (cured.classes, cured.mixed) == ((4_000_000, 1_000_000, 0), False)
    assert "line-unsupported takes over the 10000.00" in " ".join(one.text for one in plan.steps)


def test_a_line_without_eligible_money_needs_no_split() -> None:
    plan = cure_of(line_of(0, 6_000_000), "personal-use", "own")
    assert [one.text for one in plan.steps] == [
        "Repay the 60000.00 on line; all of it is ineligible."
    ]
    assert [one.name for one in plan.scenarios] == ["left", "cured"]
    assert by_name(plan)["cured"].classes == (0, 0, 0)


def test_nothing_to_cure() -> None:
    clean = line_of(4_000_000, 0)
    assert cure_plan(clean, "2025-10", "mixed-line", "line") is None
    assert cure_plan(PUBLISHED, "2025-10", "mixed-line", "other") is None
    assert cure_plan(PUBLISHED, "2025-10", "statement-missing", "line:2025-10") is None
    assert cure_plan(replace(PUBLISHED, prime=()), "2025-10", "mixed-line", "line") is None


def test_the_names_of_sub_accounts_are_free() -> None:
    taken = replace(PUBLISHED.lines[0], ref="line-eligible")
    crowded = replace(PUBLISHED, lines=(*PUBLISHED.lines, taken))
    assert sub_accounts(crowded, "line")[0] == "line-eligible-new"


# -- samples with a plan ---------------------------------------------------------


def sample(name: str) -> Household:
    data = json.loads((SAMPLES / f"{name}.json").read_text("utf-8"))
    return household_from_json(data, f"{name}.json")


def open_cures(name: str) -> list[CurePlan]:
    household = sample(name)
    report = evaluate(household)
    assert report.through is not None
    found = [
        cure_plan(
            household,
            report.through,
            run.finding.code,
            run.finding.key,
            run.first,
            run.finding.dollars_cents,
        )
        for run in report.runs
        if run.open
    ]
    return [one for one in found if one is not None]


def test_the_freed_room_re_borrowed_makes_the_whole_deductible() -> None:
    plan = next(one for one in open_cures("distributions-and-leaks") if one.code == "mixed-line")
    ways = by_name(plan)
    owed = ways["left"].balance
    assert ways["reborrowed"].classes == (owed, 0, 0)
    assert plan.best is ways["reborrowed"]
    assert plan.restored == ways["reborrowed"].ahead - ways["left"].ahead > 0


def test_room_drawn_at_last_on_a_mixed_line_stays_apart() -> None:
    cures = open_cures("distributions-and-leaks")
    missed = next(one for one in cures if one.code == "missed-reborrow")
    cured, left = by_name(missed)["cured"], missed.left
    room = cured.classes[0] - left.classes[0]
    assert cured.classes[2] == left.classes[2]
    assert missed.restored > 0
    # A year's interest at the line's rate, and what the days since its first month would have.
    assert missed.more_interest == round(room * missed.rate)
    assert "line-eligible" in missed.steps[0].text


# -- what must hold for every line ------------------------------------------------

CENTS = st.integers(min_value=1, max_value=50_000_000)


@settings(max_examples=60, deadline=None)
@given(eligible=CENTS, personal=CENTS, unsupported=st.integers(0, 5_000_000))
def test_every_cure_adds_up_and_is_not_mixed(
    eligible: int, personal: int, unsupported: int
) -> None:
    household = line_of(eligible, personal, unsupported)
    plan = cure_of(household)
    ways = by_name(plan)
    whole = eligible + personal + unsupported
    assert ways["left"].classes == (eligible, unsupported, personal)
    assert ways["cured"].classes == (eligible, unsupported, 0)
    assert not ways["cured"].mixed
    assert ways["cured"].balance == whole - personal
    assert ways["payoff"].cash == whole
    for one in plan.scenarios:
        assert all(cents >= 0 for cents in one.classes)
        assert one.balance == whole - one.cash
    # Thirteen postings, each shared out or rounded by itself, may differ by a cent.
    assert ways["cured"].ahead >= ways["unsplit"].ahead - 13


@settings(max_examples=25, deadline=None)
@given(eligible=CENTS, personal=CENTS)
def test_the_played_future_is_a_sound_household_file(eligible: int, personal: int) -> None:
    """No fault of the facts, statements tie, and posted interest is what the engine computes."""
    start = start_after(line_of(eligible, personal), "2025-10")
    assert start is not None
    ahead = played(start, ())
    assert not facts_problems(ahead, "played.json")[0]
    traced = trace(ahead, date(2026, 10, 31))
    assert traced.lines["line"].balance == eligible + personal
    assert all(one.posted == one.computed for one in traced.lines["line"].postings)
    assert sum(one.paid for one in month_flows(ahead, traced).values()) == sum(
        one.posted for one in traced.lines["line"].postings
    )
