"""Payments, renewals, privilege, trigger rate, plan rates and cash that should be prepaid."""

from __future__ import annotations

import pytest

from tests.ledger.core.story import Story, codes, found, money


def steady(months: int = 6, first: str = "2025-01") -> Story:
    """A household that does what its plan says."""
    story = Story(first, months)
    story.reborrow_all()
    return story


def test_a_missed_payment_is_told_once_five_days_have_passed_on_paper() -> None:
    story = Story()
    story.pays_mortgage = {"2025-04": None}
    assert found(story, "payment-missed") == [
        ("mtg:2025-04-01", "2025-04", "2025-06", "2761.72", "fix", True)
    ]
    assert found(story, "payment-off-plan") == [
        ("mtg:2025-04", "2025-04", "2025-04", "2761.72", "note", False)
    ]


def test_a_payment_a_few_days_early_or_late_is_no_missed_one() -> None:
    story = Story()
    story.pays_mortgage = {"2025-04": "25", "2025-06": "07"}
    assert found(story, "payment-missed") == []


def test_a_second_payment_later_makes_a_missed_one_good() -> None:
    story = Story()
    story.pays_mortgage = {"2025-04": None}
    story.say("mtg", "2025-05-20", "payment", "2761.72", interest="1900.00", principal="861.72")
    assert found(story, "payment-missed") == [
        ("mtg:2025-04-01", "2025-04", "2025-04", "2761.72", "fix", False)
    ]


def test_a_payment_already_made_for_the_next_date_counts_at_the_close_before_it() -> None:
    story = Story()
    story.pays_mortgage = {"2025-03": None, "2025-04": None}
    story.say("mtg", "2025-03-29", "payment", "2761.72", interest="1933.04", principal="828.68")
    # At the end of March as many were made as were scheduled; April's own date is then missing.
    runs = found(story, "payment-missed")
    assert [run[:3] for run in runs] == [("mtg:2025-03-01", "2025-04", "2025-06")]


def test_a_payment_at_the_edge_of_the_statements_is_not_judged() -> None:
    story = Story(months=4)
    story.file["mortgages"][0]["first_payment"] = "2025-02-27"
    story.pays_mortgage = {"2025-02": "27", "2025-03": "27", "2025-04": None}
    # 27 April + 5 days lies after the last statement.
    assert found(story, "payment-missed") == []


def test_payment_off_plan_starts_above_one_dollar() -> None:
    story = steady()
    story.say("mtg", "2025-05-15", "payment", "1.00", interest="0.00", principal="1.00")
    assert found(story, "payment-off-plan") == []
    more = steady()
    more.say("mtg", "2025-05-15", "payment", "1.01", interest="0.00", principal="1.01")
    assert found(more, "payment-off-plan") == [
        ("mtg:2025-05", "2025-05", "2025-05", "1.01", "note", False)
    ]


def test_a_renewal_comes_nearer_and_graver_and_passes() -> None:
    story = steady(8)
    term = story.file["mortgages"][0]["terms"][0]
    term["matures"] = "2025-06-21"
    (due,) = found(story, "renewal-due")
    # 28 February is 113 days before; 31 May is 21 days before.
    assert (due[0], due[1], due[2]) == ("mtg:2025-06-21", "2025-02", "2025-05")
    assert due[4] == "act"
    # 1 June is paid before maturity: 475,839.81 is left.
    assert due[3] == "475839.81"
    assert found(story, "renewal-due", "2025-04")[0][4] == "fix"
    assert found(story, "renewal-due", "2025-03")[0][4] == "note"
    (passed,) = found(story, "renewal-passed")
    assert passed[:3] == ("mtg:2025-06-21", "2025-06", "2025-08")
    assert passed[4:] == ("act", True)


@pytest.mark.parametrize(
    ("matures", "severity"),
    [("2025-07-30", None), ("2025-07-29", "note"), ("2025-05-31", "note"), ("2025-05-30", "fix"),
     ("2025-04-22", "fix"), ("2025-04-21", "act")],
)  # fmt: skip
def test_a_renewal_is_graded_by_the_days_left_at_the_close(
    matures: str, severity: str | None
) -> None:
    """From the end of March: 121, 120, 61, 60, 22 and 21 days."""
    story = steady(6)
    story.file["mortgages"][0]["terms"][0]["matures"] = matures
    graded = [run[4] for run in found(story, "renewal-due", "2025-03")]
    assert graded == ([severity] if severity else [])


def test_a_renewal_on_the_closing_day_is_due_and_its_own_payment_counts() -> None:
    story = steady(7)
    story.file["mortgages"][0]["terms"][0]["matures"] = "2025-06-30"
    assert found(story, "renewal-due")[-1][2] == "2025-06"
    assert found(story, "renewal-passed")[0][1] == "2025-07"
    on_payment_day = steady(6)
    on_payment_day.file["mortgages"][0]["terms"][0]["matures"] = "2025-07-01"
    # The payment of 1 July is on maturity and counts: 475,839.81 + 1,919.58 - 2,761.72.
    assert found(on_payment_day, "renewal-due")[0][3] == "474997.67"


def test_a_next_term_on_file_silences_both() -> None:
    story = steady(8)
    terms = story.file["mortgages"][0]["terms"]
    terms[0]["matures"] = "2025-06-21"
    terms.append(
        {"starts": "2025-06-21", "matures": "2030-06-21", "kind": "fixed", "rate": "0.0489",
         "payment": "2761.72"}
    )  # fmt: skip
    assert {"renewal-due", "renewal-passed"} & codes(story) == set()


def test_prepayments_above_the_years_privilege() -> None:
    story = steady()
    story.file["mortgages"][0]["prepayment_privilege"] = "0.01"
    story.say("mtg", "2025-04-15", "prepayment", "4800.00")
    assert found(story, "prepayment-over-privilege") == []
    story.say("mtg", "2025-05-15", "prepayment", "0.01")
    assert found(story, "prepayment-over-privilege") == [
        ("mtg:2025", "2025-05", "2025-06", "0.01", "note", True)
    ]


def test_the_privilege_starts_anew_in_january() -> None:
    story = Story("2025-09", 6)
    story.file["mortgages"][0]["prepayment_privilege"] = "0.01"
    story.say("mtg", "2025-11-15", "prepayment", "5000.00")
    assert found(story, "prepayment-over-privilege") == [
        ("mtg:2025", "2025-11", "2025-12", "200.00", "note", False)
    ]


def test_a_static_payment_near_the_interest_trips_the_trigger() -> None:
    story = Story(months=3)
    story.file["mortgages"][0]["terms"][0] = {
        "starts": "2025-01-01", "matures": "2030-01-01", "kind": "static", "spread": "-0.0031",
        "payment": "2761.72"}  # fmt: skip
    assert found(story, "trigger-rate") == []
    story.file["prime"] = [["2025-01-01", "0.0520"], ["2025-03-10", "0.0660"]]
    story.file["plan"] = None
    # March: 478,345.97 at 6.29% is about 2,475 a month; 2,761.72 is more than 10% above.
    assert found(story, "trigger-rate") == []
    story.file["prime"][1][1] = "0.0680"
    (near,) = found(story, "trigger-rate")
    assert near[:3] == ("mtg", "2025-03", "2025-03")
    story.file["prime"][1][1] = "0.0780"
    (over,) = found(story, "trigger-rate")
    assert over[4:] == ("fix", True)


def test_a_rate_a_quarter_point_off_the_plan() -> None:
    story = steady()
    story.file["plan"]["prime"] = [["2025-01-01", "0.0520"]]
    story.file["prime"] = [["2025-01-01", "0.0520"], ["2025-05-10", "0.0496"]]
    assert found(story, "rate-off-plan") == []
    story.file["prime"][1][1] = "0.0495"
    runs = found(story, "rate-off-plan")
    assert runs == [("line", "2025-05", "2025-06", money("10.40"), "note", True)]


def test_a_refund_that_was_not_prepaid_within_sixty_days() -> None:
    story = steady(20)
    story.file["plan"]["refund"] = "prepay"
    story.file["plan"]["months"] = 24
    (run,) = found(story, "refund-not-applied")
    # Due on 1 May 2026, judged at the end of June.
    assert run[0] == "2026"
    assert run[1:3] == ("2026-06", "2026-08")
    assert run[4:] == ("fix", True)
    refund = str(run[3])
    paid = steady(20)
    paid.file["plan"] = story.file["plan"]
    paid.say("mtg", "2026-06-30", "prepayment", refund)
    assert found(paid, "refund-not-applied") == []
    late = steady(20)
    late.file["plan"] = story.file["plan"]
    late.say("mtg", "2026-07-01", "prepayment", refund)
    assert len(found(late, "refund-not-applied")) == 1


def test_distributions_that_the_plan_prepays_and_life_does_not() -> None:
    story = steady()
    story.file["plan"]["investment"]["distributions"] = "prepay"
    story.say("inv", "2025-03-31", "distribution", "100.00", of="eligible_dividend", paid="cash")
    assert found(story, "distribution-not-applied") == [
        ("inv:2025-03", "2025-05", "2025-06", "100.00", "fix", True)
    ]
    story.say("mtg", "2025-05-05", "prepayment", "90.00")
    assert found(story, "distribution-not-applied") == []
