"""What a lost deduction costs a year, held to worked figures.

The figures follow from tax lost = amount x line rate x marginal rate, the
project's own arithmetic on the rule of interpretation folio S3-F6-C1; no
published table. A personal draw of 10,000 at 6% and 43% loses 258.00 a year; a
return of capital of 6,000 spent on the mortgage loses 154.80 (the case behind
Van Steenis v. The Queen, 2018 TCC 78, in round numbers).
"""

from __future__ import annotations

from ledger.core.close import evaluate
from tests.ledger.core.story import Story


def at_six_percent() -> Story:
    """A line at 6%, a flat rate of 43%, room to draw."""
    story = Story(months=4)
    story.posts_interest = False
    story.file["facility"] |= {
        "registered_limit": "800000.00",
        "lender_value": "1200000.00",
        "line_cap": "780000.00",
    }
    story.file["plan"]["reborrow"] = None
    story.file["plan"]["marginal"]["ordinary"] = "0.43"
    story.file["prime"] = [["2025-01-01", "0.0550"]]
    return story


def costs(story: Story) -> dict[str, tuple[int, int]]:
    """Dollars and yearly cost by code, in cents."""
    return {
        one.finding.code: (one.finding.dollars_cents, one.finding.cost_per_year_cents)
        for one in evaluate(story.household()).runs
    }


def test_a_personal_draw_of_ten_thousand_beside_two_hundred_thousand() -> None:
    story = at_six_percent()
    story.draw("2025-02-03", "200000.00")
    story.draw("2025-03-03", "10000.00", use="personal", evidence=())
    assert costs(story)["personal-use"] == (1_000_000, 25_800)
    assert costs(story)["mixed-line"] == (1_000_000, 25_800)


def test_a_return_of_capital_that_paid_the_mortgage_and_was_drawn_again() -> None:
    story = at_six_percent()
    story.draw("2025-02-03", "200000.00")
    story.say("inv", "2025-03-03", "distribution", "6000.00", of="return_of_capital", paid="cash")
    story.say("inv", "2025-03-04", "withdrawal", "6000.00", of="return_of_capital", to="mortgage")
    story.say("mtg", "2025-03-04", "prepayment", "6000.00")
    story.draw("2025-03-04", "6000.00")
    assert costs(story)["capital-leak"] == (600_000, 15_480)
    line = evaluate(story.household()).closes[-1].actual
    # Balance 206,000.00, of which 200,000.00 eligible: 97.087%.
    assert (line.line_closing, line.eligible, line.ineligible) == (20_600_000, 20_000_000, 600_000)
