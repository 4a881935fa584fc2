"""A plan's line alone: compounding, order of payment, classes, nights."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.core.line_interest import night_units, posted_interest_cents, posting_tolerance_cents
from planning.core.plan_line import ELIGIBLE, INELIGIBLE, LineRun
from planning.core.plan_types import OpeningClasses
from planning.core.types import DayBasis, InterestMethod, Line


def line(
    eligible: int,
    unsupported: int = 0,
    ineligible: int = 0,
    *,
    method: InterestMethod = "paid",
    rate: str = "0.10",
    basis: DayBasis = "actual",
    starts: date = date(2021, 1, 1),
) -> LineRun:
    contract = Line("line", basis, Decimal(0), (), None, None, None)
    opening = OpeningClasses(eligible, unsupported, ineligible, (("inv", eligible),))
    return LineRun(contract, opening, ((starts, Decimal(rate)),), starts, method)


def test_compound_interest_of_a_loan_paid_at_maturity() -> None:
    """CRA memorandum of 31 March 1989 (7-3643): 1,000,000 at 10%, five years, paid at the end.

    Simple interest 100,000 a year; on simple interest 10,000 to 40,000; on
    compound interest 1,000, 3,100, 6,410; owed at maturity 1,610,510. With the
    method `payable`: 100,000 in each year, the compound 110,510 when paid.
    """
    run = line(100_000_000, method="payable")
    posted, deducted = [], []
    for year in range(2022, 2027):
        interest, deductible = run.post(date(year, 1, 1))
        posted.append(interest)
        deducted.append(deductible)
    assert posted == [10_000_000, 11_000_000, 12_100_000, 13_310_000, 14_641_000]
    assert deducted == [10_000_000] * 5
    assert run.balance == 161_051_000
    assert run.pay_from_cash(date(2026, 1, 1), 61_051_000) == 11_051_000
    assert (run.balance, run.unpaid_interest()) == (100_000_000, 0)


def test_paid_deducts_everything_when_paid() -> None:
    run = line(100_000_000)
    run.post(date(2022, 1, 1))
    _, nothing = run.post(date(2023, 1, 1))
    assert nothing == 0
    assert run.pay_from_cash(date(2023, 1, 1), 10_000_001) == 10_000_001
    assert [one.unpaid() for one in run.postings] == [10_999_999]


def test_inside_a_posting_simple_interest_is_paid_first() -> None:
    run = line(100_000_000, method="payable")
    run.post(date(2022, 1, 1))
    run.post(date(2023, 1, 1))
    assert run.pay_from_cash(date(2023, 1, 1), 10_000_000) == 0  # the first posting, all simple
    assert run.pay_from_cash(date(2023, 1, 1), 10_000_000) == 0  # the second one's simple part
    assert run.pay_from_cash(date(2023, 1, 1), 400_000) == 400_000  # now its compound part


def test_a_posting_is_shared_by_what_each_class_owed_each_night() -> None:
    """30% eligible until a draw makes it 65%; the cents left over go to the larger remainder."""
    run = line(30_000, 10_000, 60_000, rate="0.0365", basis="365", starts=date(2025, 1, 1))
    run.draw(date(2025, 1, 16), 100_000, "inv")
    run.check()
    posted, _ = run.post(date(2025, 1, 31))
    assert posted == 450  # 1,000 x 15 + 2,000 x 15 nights, at 0.01% a night
    assert run.unpaid == [240, 30, 180]
    run.check()


def test_interest_paid_by_a_draw_leaves_the_balance_and_keeps_the_class() -> None:
    run = line(60_000, 0, 40_000, rate="0.0365", basis="365", starts=date(2025, 1, 1))
    run.post(date(2025, 1, 31))
    assert run.unpaid == [180, 0, 120]
    owed = run.balance
    assert run.pay_by_draw(date(2025, 2, 1), 100) == 60
    assert (run.balance, run.class_balance(ELIGIBLE), run.class_balance(INELIGIBLE)) == (
        owed, 60_180, 40_120,
    )  # fmt: skip
    assert run.targets["interest"] == 60
    run.check()


def test_a_rate_step_splits_the_nights() -> None:
    contract = Line("line", "365", Decimal("0.005"), (), None, None, None)
    prime = ((date(2025, 1, 1), Decimal("0.068")), (date(2025, 1, 11), Decimal("0.0315")))
    opening = OpeningClasses(0, 0, 100_000, ())
    run = LineRun(contract, opening, prime, date(2025, 1, 1), "paid")
    assert run.post(date(2025, 1, 31))[0] == 400  # 10 nights of 0.20 and 20 of 0.10


def test_nights_across_a_leap_year() -> None:
    assert night_units(date(2024, 1, 1), date(2025, 1, 1), "actual") == 365 * 366
    assert night_units(date(2025, 1, 1), date(2026, 1, 1), "actual") == 365 * 366
    assert night_units(date(2024, 1, 1), date(2025, 1, 1), "365") == 366 * 366
    assert night_units(date(2023, 7, 1), date(2025, 7, 1), "actual") == 2 * 365 * 366 + (
        184 * 366 + 181 * 366 - 365 * 366
    )
    assert night_units(date(2025, 1, 2), date(2025, 1, 2), "365") == 0


def test_the_tolerance_of_a_posting() -> None:
    assert [posting_tolerance_cents(nights) for nights in (1, 2, 3, 31)] == [5, 5, 6, 62]


def test_a_credit_balance_earns_nothing() -> None:
    stretch = (date(2025, 1, 1), date(2025, 2, 1), -100_000, Decimal("0.07"))
    assert posted_interest_cents([stretch], "365") == 0


@settings(max_examples=60, deadline=None)
@given(
    opening=st.tuples(*[st.integers(0, 500_000)] * 3),
    draws=st.lists(st.tuples(st.integers(1, 300), st.integers(1, 90_000)), max_size=6),
    payments=st.lists(st.integers(1, 9_000), max_size=6),
    method=st.sampled_from(["paid", "payable"]),
)
def test_classes_always_add_up_and_the_deduction_is_covered(
    opening: tuple[int, int, int],
    draws: list[tuple[int, int]],
    payments: list[int],
    method: InterestMethod,
) -> None:
    run = line(*opening, method=method, rate="0.0777", starts=date(2024, 1, 1))
    events = sorted(draws)
    for month in range(2, 12):
        day = date(2024, month, 1)
        while events and events[0][0] < month * 28:
            run.draw(run.posted_on, events.pop(0)[1], "inv")
        run.post(day)
        if payments:
            run.pay_by_draw(day, min(payments.pop(), run.unpaid_interest()))
        run.check()
        assert sum(run.class_balance(index) for index in range(3)) == run.balance
        assert 0 <= run.eligible_deducted <= run.eligible_posted
    run.pay_from_cash(date(2024, 12, 1), run.unpaid_interest())
    run.check()
    assert run.eligible_deducted == run.eligible_posted


def test_targets_cannot_be_overdrawn() -> None:
    run = line(1_000)
    with pytest.raises(AssertionError):
        run.reclass(date(2021, 1, 1), 1_001, "inv")
