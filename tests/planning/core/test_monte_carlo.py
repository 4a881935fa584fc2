"""Drawn years of history: the draws, the yearly steps against the dated plan, the figures."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from config.problems import BadInput
from planning.core.comparison_cases import without_reborrowing
from planning.core.history import replay
from planning.core.history_household import household_in
from planning.core.market_series import distribution, market_months, price_growth
from planning.core.monte_carlo import CAUTIONS, monte_carlo, outcomes
from planning.core.plan import run_plan
from planning.core.projection_start import start_of
from planning.core.scenarios import (
    HIGHEST_PRIME,
    LOWEST_PRIME,
    Scenarios,
    draw_scenarios,
    prime_levels,
    usual_prime,
    windows,
)
from tests.planning.core.plan_cases import household

NAMES = tuple(one.month for one in market_months())

CONVERTING = {
    "plan.months": 300,
    "plan.refund": "prepay",
    "plan.investment.distributions": "reinvest",
    "mortgages.0.prepayment_privilege": "0.15",
}
FROM_LINE = {
    "plan.months": 300,
    "plan.line_interest": "from-line",
    "plan.investment.distributions": "prepay",
}
DRAWING_AT_ONCE = {
    "plan.months": 300,
    "plan.reborrow.opening_draw": "100000.00",
    "plan.investment.distributions": "cash",
}


def test_a_window_is_its_twelve_months_played_one_by_one():
    table = windows()
    index = table.first_months.index("2008-01")
    at = NAMES.index("2008-01")
    opening, added, paid = 1.0, 0.0, 0.0
    for month in range(at, at + 12):
        before, now = market_months()[month - 1], market_months()[month]
        paid += opening * float(distribution(before))
        opening *= 1 + float(price_growth(before, now))
        added = added * (1 + float(price_growth(before, now))) + 1 / 12
    assert table.paid_out.on_opening[index] == pytest.approx(opening, rel=1e-12)
    assert table.paid_out.on_added[index] == pytest.approx(added, rel=1e-12)
    assert table.paid_out.paid_on_opening[index] == pytest.approx(paid, rel=1e-12)
    # With distributions kept in: the year's total return, -33.0%.
    assert table.reinvested.on_opening[index] == pytest.approx(0.670, abs=0.001)
    # Prime: 6.00% known when the year began, 3.50% when it ended.
    assert table.prime_end[index] == pytest.approx(0.0350 / 0.0600, rel=1e-12)


def test_level_draws_owe_half_a_year_of_interest_at_a_level_prime():
    table = windows()
    # Prime stood at 2.45% from April 2020 to the end of 2021.
    index = table.first_months.index("2020-05")
    assert table.prime_mean[index] == pytest.approx(1.0)
    assert table.prime_on_added[index] == pytest.approx(0.5)


def test_the_same_seed_draws_the_same_years_and_another_one_others():
    first = draw_scenarios(25, 500, 7).drawn.copy()
    draw_scenarios.cache_clear()
    assert np.array_equal(draw_scenarios(25, 500, 7).drawn, first)
    assert not np.array_equal(draw_scenarios(25, 500, 8).drawn, first)


def test_the_stored_seed_still_draws_the_years_it_always_drew():
    # Kept by hand: a changed stream would make old packets and new ones differ by luck.
    assert draw_scenarios(2, 3, block_years=1).drawn.tolist() == [[281, 29, 245], [543, 182, 9]]


def test_every_household_meets_the_same_years():
    assert draw_scenarios(25) is draw_scenarios(25)
    with pytest.raises(ValueError, match="read-only"):
        draw_scenarios(25).drawn[0, 0] = 0


def test_a_longer_block_keeps_its_years_together():
    drawn = draw_scenarios(7, 400, 3, block_years=3).drawn
    steps = np.diff(drawn, axis=0)
    assert (steps[[0, 1, 3, 4]] == 12).all()
    assert not (steps[2] == 12).all()
    assert drawn.max() < len(windows().first_months)


def correlation(first, second) -> float:
    return float(np.corrcoef(first.ravel(), second.ravel())[0, 1])


def test_a_block_keeps_returns_and_rates_together():
    table = windows()
    grown, change, gap = table.paid_out.on_opening, np.log(table.prime_end), table.mortgage_gap
    drawn = draw_scenarios(24, 10_000, 11, block_years=2).drawn
    # Within a year: returns and the gap of mortgages over prime, as in history.
    together = correlation(grown, gap)
    assert together > 0.1
    assert correlation(grown[drawn], gap[drawn]) == pytest.approx(together, abs=0.02)
    # A year later, inside a block: prime follows the shares, as in history.
    followed = correlation(grown[:-12], change[12:])
    assert followed > 0.3
    first, second = drawn[0::2], drawn[1::2]
    assert correlation(grown[first], change[second]) == pytest.approx(followed, abs=0.02)
    # Between blocks, and between paths, there is nothing of it.
    assert abs(correlation(grown[second[:-1]], change[first[1:]])) < 0.02
    assert abs(correlation(grown[drawn], gap[np.roll(drawn, 1, axis=1)])) < 0.02


def test_every_start_month_is_equally_likely():
    counts = np.bincount(draw_scenarios(25, 10_000, block_years=1).drawn.ravel(), minlength=792)
    assert len(counts) == len(windows().first_months) == 792
    expected = 250_000 / 792
    # Chi-squared with 791 degrees of freedom: five standard deviations.
    assert ((counts - expected) ** 2 / expected).sum() < 791 + 5 * (2 * 791) ** 0.5


def test_prime_wanders_as_widely_as_it_has_and_no_further():
    levels = prime_levels(draw_scenarios(40, 5_000), 0.0445)
    assert (levels[0] == 0.0445).all()
    assert levels.min() >= LOWEST_PRIME
    assert levels.max() <= HIGHEST_PRIME
    known = np.log(np.array([float(one.prime) for one in market_months()]))
    assert np.log(levels[-1]).std() == pytest.approx(known.std(), rel=0.1)
    assert np.median(levels[-1]) == pytest.approx(usual_prime()[0], rel=0.1)


@pytest.mark.parametrize("change", [CONVERTING, FROM_LINE, DRAWING_AT_ONCE])
@pytest.mark.parametrize("first", ["1966-02", "1978-02", "1997-01"])
def test_the_yearly_steps_follow_the_dated_plan(change, first):
    """On the very months of a replay both leads agree within 6% of what is at stake."""
    one = household(change)
    dated = replay(one, first)
    at = NAMES.index(first)
    bent = household_in(one, market_months()[at - 1 : at + 300], Decimal(0))
    path = Scenarios((np.arange(25)[:, None] * 12) + at - 1, 0, 25, pull=0.0)
    found = outcomes(bent, scenarios=path)
    stake = 0.06 * max(
        300_000_00.0, abs(dated.lead_over_ordinary), abs(dated.lead_over_prepayments)
    )
    assert found.lead_over_ordinary[0] == pytest.approx(dated.lead_over_ordinary, abs=stake)
    assert found.lead_over_prepayments[0] == pytest.approx(dated.lead_over_prepayments, abs=stake)
    assert found.below[0] <= dated.below + stake


def test_without_reborrowing_there_is_no_lead():
    alone = without_reborrowing(household(CONVERTING))
    found = outcomes(alone, scenarios=draw_scenarios(25, 200))
    assert np.abs(found.lead_over_ordinary).max() < 1e-3
    assert np.abs(found.lead_over_prepayments).max() < 1e-3


def test_the_start_is_read_off_the_contract():
    one = household(CONVERTING)
    start = start_of(one, None, "alder")
    first = run_plan(one).payments[0]
    assert start.mortgage.monthly_rate == pytest.approx(0.005)
    assert start.mortgage.yearly_payment == 12 * first.payment
    assert start.mortgage.first_renewal == 5
    assert (start.prime, start.line_spread, start.years) == (0.068, 0.005, 25)
    assert start.mortgage.privilege == 45_000_00


def test_the_figures_are_reproducible_and_hang_together():
    one = household(CONVERTING)
    shown = monte_carlo(one, paths=2_000)
    draw_scenarios.cache_clear()
    assert monte_carlo(one, paths=2_000) == shown
    assert monte_carlo(one, paths=2_000, seed=1) != shown
    assert (shown["kind"], shown["paths"], shown["years"]) == ("projection", "2000", "25")
    assert shown["cautions"] == list(CAUTIONS)
    for key in ("lead_over_ordinary", "lead_over_prepayments", "deepest_below_line"):
        spread = shown[key]
        assert isinstance(spread, dict)
        values = [Decimal(one) for one in spread.values()]
        assert list(spread) == ["p05", "p25", "p50", "p75", "p95"]
        assert values == sorted(values)
        assert values[0] < values[-1]
    behind = Decimal(str(shown["behind_prepayments"]))
    leads = outcomes(one, scenarios=draw_scenarios(25, 2_000)).lead_over_prepayments
    assert behind == round(Decimal(int((leads < 0).sum())) / 2_000, 4)
    assert 0 < behind < 1


def test_dearer_lines_lead_less_on_every_path():
    one = household(CONVERTING)
    dear = replace(one, lines=(replace(one.lines[0], spread=Decimal("0.0150")),))
    drawn = draw_scenarios(25, 500)
    cheap_lead = outcomes(one, scenarios=drawn).lead_over_ordinary
    assert (outcomes(dear, scenarios=drawn).lead_over_ordinary < cheap_lead).all()


def test_what_cannot_be_projected_is_refused():
    assert monte_carlo(household({"plan.months": 11})) == {}
    with pytest.raises(ValueError, match="at least twelve months"):
        outcomes(household({"plan.months": 11}))
    with pytest.raises(ValueError, match="within history"):
        draw_scenarios(70, 10, block_years=68)
    without = household({"prime": [], "plan.reborrow": None, "plan.months": 24})
    with pytest.raises(BadInput):
        outcomes(without)
