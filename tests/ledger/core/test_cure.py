"""The cure of a mixed line, held to the published case behind the rule."""

from __future__ import annotations

from fractions import Fraction

import pytest

from ledger.core.cure import LineState, cure_mixed_line, percent_text, repay

# CRA letter 2007-0221071E5 (7 September 2007): 40,000 invested and 60,000 personal
# on one line; 20,000 repaid leaves 40% deductible.
PUBLISHED = LineState((4_000_000, 0, 6_000_000), (0, 0, 0))


def test_the_published_repayment_falls_on_both_uses() -> None:
    after = repay(PUBLISHED, 2_000_000)
    assert after.principal == (3_200_000, 0, 4_800_000)
    assert after.eligible_share == PUBLISHED.eligible_share == Fraction(2, 5)


def test_the_split_is_to_the_cent_and_includes_unpaid_interest() -> None:
    state = LineState((4_000_000, 12_345, 6_000_000), (10_001, 31, 15_002))
    cure = cure_mixed_line("line", state)
    assert cure.eligible_account == 4_010_001
    assert cure.unsupported_account == 12_376
    assert cure.ineligible_account == 6_015_002
    total = cure.eligible_account + cure.unsupported_account + cure.ineligible_account
    assert total == state.balance == cure.payoff


def test_paying_the_ineligible_amount_without_a_split_cures_nothing() -> None:
    cure = cure_mixed_line("line", PUBLISHED)
    assert cure.repaid_without_split.principal == (1_600_000, 0, 2_400_000)
    assert cure.share_after_part_payment == cure.share_before
    shown = " ".join(one.text for one in cure.steps)
    assert "40000.00" in shown
    assert "60000.00 sub-account alone" in shown
    assert "24000.00 ineligible, and 40.00%" in shown
    assert "100000.00" in shown


@pytest.mark.parametrize("part", [1, 99, 500_000, 9_999_900])
def test_no_part_payment_changes_the_share_by_more_than_a_cent(part: int) -> None:
    after = repay(PUBLISHED, part)
    assert sum(after.principal) == PUBLISHED.balance - part
    exact = PUBLISHED.eligible_share * sum(after.principal)
    assert abs(after.principal[0] - exact) < 1


def test_paying_interest_first_leaves_principal_alone() -> None:
    state = LineState((4_000_000, 0, 6_000_000), (400, 0, 600))
    after = repay(state, 1_000)
    assert after.principal == state.principal
    assert after.unpaid_interest == (0, 0, 0)


def test_percent_text_rounds_half_up() -> None:
    assert percent_text(Fraction(1, 3)) == "33.33%"
    assert percent_text(Fraction(2, 3)) == "66.67%"
    assert percent_text(Fraction(5, 100_000)) == "0.01%"
