"""The tax engine against figures other people computed.

Sources beside each check. The parameters' own sources are in
planning/data/tax/README.md.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from config.problems import BadInput
from planning.core.money import round_half_up
from planning.core.tax.engine import Income, basic_amount, marginal_rates, tax
from planning.core.tax.parameters import JURISDICTIONS, indexed, known_years, parameters


def test_federal_dividend_credits_are_the_statutes_fractions() -> None:
    """ITA 121 and 82(1)(b): 6/11 of a 38 % gross-up, 9/13 of a 15 % gross-up.

    1,000 of eligible dividends: 1,380 taxable, credit 207.27; 1,000 of others:
    1,150 taxable, credit 103.85 (computed from the statute's fractions).
    """
    law = parameters(2026).federal
    assert round_half_up(law.eligible_credit * 138000) == 20727
    assert round_half_up(law.other_credit * 115000) == 10385


@pytest.mark.parametrize(
    ("rate", "kind", "expected"),
    [("0.26", "eligible", 15153), ("0.29", "eligible", 19293), ("0.33", "eligible", 24813),
     ("0.26", "other", 19515)],
)  # fmt: skip
def test_federal_tax_on_a_thousand_of_dividends(rate: str, kind: str, expected: int) -> None:
    """ITA 82, 121 applied at the federal rates 26, 29 and 33 % (computed by hand)."""
    law = parameters(2026)
    up = law.eligible_gross_up if kind == "eligible" else law.other_gross_up
    credit = law.federal.eligible_credit if kind == "eligible" else law.federal.other_credit
    taxable = 100000 * (1 + up)
    assert round_half_up((Fraction(rate) - credit) * taxable) == expected


@pytest.mark.parametrize(("year", "total"), [(2025, 4229594), (2026, 4162564)])
def test_ontario_at_150_000_agrees_with_an_independent_package(year: int, total: int) -> None:
    """canada-tax-toolkit 0.4.0 (MIT): Ontario, 150,000 of ordinary income.

    It rounds the total once where we round each part, hence the cent.
    """
    got = tax(parameters(year), "ON", Income(ordinary_cents=15000000))
    assert abs(got.total_cents - total) <= 1


# Top combined marginal rates, ordinary income / eligible dividends / other dividends,
# as printed in firms' top-rate tables for 2025 [from memory].
TOP_2025 = {
    "ON": ("0.5353", "0.3934", "0.4774"),
    "BC": ("0.5350", "0.3654", "0.4889"),
    "AB": ("0.4800", "0.3431", "0.4230"),
    "QC": ("0.5331", "0.4011", "0.4870"),
    "MB": ("0.5040", "0.3778", "0.4667"),
    "SK": ("0.4750", "0.2964", "0.4134"),
}


@pytest.mark.parametrize("province", TOP_2025)
def test_top_combined_rates_of_2025(province: str) -> None:
    rates = marginal_rates(parameters(2025), province, Income(ordinary_cents=60000000))
    printed = [Decimal(one) for one in TOP_2025[province]]
    got = [rates["ordinary"], rates["eligible_dividend"], rates["other_dividend"]]
    for ours, theirs in zip(got, printed, strict=True):
        assert abs(Decimal(float(ours)) - theirs) < Decimal("0.0002")
    assert rates["capital_gain"] == rates["ordinary"] / 2  # ITA 38(a)


def test_quebec_limits_investment_expenses_to_investment_income() -> None:
    """Revenu Québec, TP-1 lines 231, 252, 260: 12,000 of interest against 5,000 of
    income adds 7,000 back; a later year with 15,000 of income uses 3,000 of it."""
    law = parameters(2025)
    first = tax(law, "QC", Income(12000000, interest_cents=500000, deduction_cents=1200000))
    assert first.addback_cents == 700000
    later = tax(
        law, "QC", Income(12000000, interest_cents=1500000, deduction_cents=1200000),
        pool_cents=700000,
    )  # fmt: skip
    assert (later.addback_cents, later.used_cents) == (0, 300000)
    # The federal return has no such limit.
    free = tax(
        law, "QC", Income(12000000, interest_cents=500000, deduction_cents=1200000),
        quebec_limit=False,
    )  # fmt: skip
    assert free.federal_cents == first.federal_cents
    assert free.provincial_cents < first.provincial_cents


def test_ontario_health_premium_bands() -> None:
    """Form ON428, health premium chart: nil to 20,000; 300 at 25,000; 450 at 38,500;
    600 at 48,600; 750 at 72,600; 900 at 200,600."""
    law = parameters(2025)
    for dollars, premium in ((20000, 0), (25000, 300), (36000, 300), (38500, 450),
                             (48600, 600), (72600, 750), (200600, 900), (500000, 900)):  # fmt: skip
        got = tax(law, "ON", Income(ordinary_cents=dollars * 100))
        assert got.health_premium_cents == premium * 100


def test_the_basic_amount_falls_in_a_straight_line() -> None:
    """ITA 118(1.1): 16,129 to 177,882, 14,538 from 253,414 on (2025)."""
    basic = parameters(2025).federal.basic
    assert basic_amount(basic, Fraction(17788200)) == 1612900
    assert basic_amount(basic, Fraction(25341400)) == 1453800
    middle = Fraction(17788200 + 25341400, 2)
    assert basic_amount(basic, middle) == (1612900 + 1453800) // 2


def test_an_unknown_year_names_the_years_known() -> None:
    with pytest.raises(BadInput, match="2023, 2024, 2025, 2026"):
        parameters(2019)


def test_later_years_index_thresholds_and_keep_rates() -> None:
    last = known_years()[-1]
    grown, base = indexed(last + 2, Decimal("0.02")), parameters(last)
    assert grown.federal.rates == base.federal.rates
    assert grown.federal.edges[1] == round(base.federal.edges[1] / 100 * 1.0404) * 100
    assert indexed(last, Decimal("0.02")) == base


@pytest.mark.parametrize("year", known_years())
@pytest.mark.parametrize("province", JURISDICTIONS)
def test_tax_rises_with_income_and_falls_with_a_deduction(year: int, province: str) -> None:
    law = parameters(year)
    before = 0
    for dollars in range(0, 400_001, 20_000):
        total = tax(law, province, Income(ordinary_cents=dollars * 100)).total_cents
        assert total >= before
        less = tax(law, province, Income(ordinary_cents=dollars * 100, deduction_cents=500000))
        assert less.total_cents <= total
        before = total
