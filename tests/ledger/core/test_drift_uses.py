"""Uses of draws, leaks from accounts, interest, people: each rule fires, just misses, and lives."""

from __future__ import annotations

from ledger.core.close import evaluate
from tests.ledger.core.story import PRINCIPALS, Story, codes, found


def steady(months: int = 6) -> Story:
    """A household that does what its plan says."""
    story = Story(months=months)
    story.reborrow_all()
    return story


def with_reserve(months: int = 6) -> Story:
    """A story that draws nothing by itself and has 30,000.00 of room to draw from."""
    story = Story(months=months)
    story.file["facility"]["registered_limit"] = "510000.00"
    story.file["facility"]["lender_value"] = "800000.00"
    story.file["facility"]["line_cap"] = "520000.00"
    story.file["plan"]["reborrow"] = None
    return story


def test_a_personal_draw_makes_the_line_mixed_until_no_ineligible_principal_is_left() -> None:
    story = with_reserve()
    story.draw("2025-02-10", "8000.00")
    draw = story.draw("2025-03-10", "2000.00", use="personal", evidence=())
    assert found(story, "personal-use") == [(draw, "2025-03", "2025-06", "2000.00", "act", True)]
    assert found(story, "mixed-line") == [("line", "2025-03", "2025-06", "2000.00", "act", True)]
    # Half is repaid: the mix stays, the ineligible principal halves.
    story.say("line", "2025-05-10", "repayment", "5000.00")
    assert found(story, "personal-use")[0][2:4] == ("2025-06", "2000.00")
    assert found(story, "mixed-line")[0][3] == "1000.00"
    story.say("line", "2025-06-10", "repayment", "5000.00")
    assert found(story, "personal-use")[0][1:3] == ("2025-03", "2025-05")
    assert found(story, "mixed-line")[0][1:3] == ("2025-03", "2025-05")


def test_a_cured_finding_does_not_come_back_with_the_next_personal_draw() -> None:
    story = with_reserve()
    first = story.draw("2025-02-10", "2000.00", use="personal", evidence=())
    story.say("line", "2025-03-10", "repayment", "2000.00")
    second = story.draw("2025-05-10", "700.00", use="life-policy", evidence=())
    assert found(story, "personal-use") == [
        (first, "2025-02", "2025-02", "2000.00", "act", False),
        (second, "2025-05", "2025-06", "700.00", "act", True),
    ]
    assert found(story, "mixed-line") == []


def test_a_personal_draw_repaid_within_its_month_is_never_found() -> None:
    story = with_reserve()
    story.draw("2025-02-10", "2000.00", use="personal", evidence=())
    story.say("line", "2025-02-20", "repayment", "2000.00")
    story.draw("2025-04-10", "10.00", use="personal", evidence=())
    assert [one[0] for one in found(story, "personal-use")] == ["line-draw-2025-04-10-2"]


def test_a_fee_is_personal_unless_a_use_says_otherwise() -> None:
    story = with_reserve()
    story.draw("2025-02-10", "8000.00")
    fee = story.say("line", "2025-03-15", "fee", "25.00")
    assert found(story, "personal-use") == [(fee, "2025-03", "2025-06", "25.00", "act", True)]
    story.uses.append(
        {"draw": fee, "splits": [
            {"amount": "25.00", "use": "business-expense", "evidence": ["bill"]}]}
    )  # fmt: skip
    assert found(story, "personal-use") == []


def test_a_claimed_fee_without_paper_is_unsupported_but_not_asked_about() -> None:
    story = with_reserve()
    fee = story.say("line", "2025-02-05", "fee", "80.00")
    story.uses.append({"draw": fee, "splits": [{"amount": "80.00", "use": "business-expense",
                                                "evidence": []}]})  # fmt: skip
    assert "unsupported-draw" not in codes(story)
    report = evaluate(story.household())
    assert report.view is not None
    assert report.view.lines["line"].principal[1] == 8_000


def test_a_registered_destination_is_told_apart_from_a_personal_use() -> None:
    story = with_reserve()
    story.file["investments"].append({"ref": "tfsa", "kind": "tfsa", "owners": ["m1"]})
    draw = story.draw("2025-03-10", "2000.00", to="tfsa")
    assert found(story, "registered-destination") == [
        (draw, "2025-03", "2025-06", "2000.00", "act", True)
    ]
    assert found(story, "personal-use") == []
    plan = story.draw("2025-04-10", "500.00", use="registered-plan", evidence=())
    assert [one[0] for one in found(story, "registered-destination")] == [draw, plan]


def test_units_in_kind_into_a_registered_plan() -> None:
    story = with_reserve()
    story.file["investments"].append({"ref": "tfsa", "kind": "tfsa", "owners": ["m1"]})
    story.draw("2025-02-10", "20000.00")
    move = story.say(
        "inv", "2025-04-01", "transfer-in-kind", "5000.00", to="tfsa", cost_fraction="0.25"
    )
    assert found(story, "registered-destination") == [
        (move, "2025-04", "2025-06", "5000.00", "act", True)
    ]
    assert found(story, "proceeds-leak") == []
    assert found(story, "mixed-line")[0][:4] == ("line", "2025-04", "2025-06", "5000.00")


def test_an_unsupported_draw_is_paper_after_thirty_days_and_until_it_is_supported() -> None:
    story = with_reserve()
    draw = story.draw("2025-03-01", "900.00", evidence=(), buys=False)
    # 31 March is the thirtieth day: not yet.
    assert found(story, "unsupported-draw") == [
        (draw, "2025-04", "2025-06", "900.00", "paper", True)
    ]
    story.uses[0]["splits"][0]["evidence"] = [{"ref": "late", "on": "2025-05-15"}]
    assert found(story, "unsupported-draw") == [
        (draw, "2025-04", "2025-04", "900.00", "paper", False)
    ]
    story.uses[0]["splits"][0]["evidence"] = ["undated"]
    assert found(story, "unsupported-draw") == []


def test_an_unsupported_draw_keeps_its_first_amount_after_a_repayment() -> None:
    story = with_reserve()
    story.draw("2025-02-20", "900.00", use=None)
    story.say("line", "2025-03-20", "repayment", "900.00")
    assert [one[1:4] for one in found(story, "unsupported-draw")] == [
        ("2025-03", "2025-06", "900.00")
    ]


def test_a_contribution_of_the_same_amount_within_five_days_supports() -> None:
    story = with_reserve()
    draw = story.draw("2025-02-03", "900.00", evidence=(), buys=False)
    story.say("inv", "2025-02-08", "contribution", "900.00", **{"from": draw})
    assert codes(story) == set()
    late = with_reserve()
    draw = late.draw("2025-02-03", "900.00", evidence=(), buys=False)
    late.say("inv", "2025-02-09", "contribution", "900.00", **{"from": draw})
    assert found(late, "idle-draw") == [(draw, "2025-02", "2025-02", "900.00", "paper", False)]
    assert found(late, "unsupported-draw")[0][:2] == (draw, "2025-03")


def test_an_idle_draw_is_told_even_with_paper_in_the_month_of_its_contribution() -> None:
    story = with_reserve()
    draw = story.draw("2025-02-26", "900.00", buys=False)
    story.say("inv", "2025-03-10", "contribution", "400.00", **{"from": draw})
    story.say("inv", "2025-04-10", "contribution", "500.00", **{"from": draw})
    assert found(story, "idle-draw") == [(draw, "2025-03", "2025-03", "900.00", "paper", False)]


def test_a_return_of_capital_spent_is_a_leak_and_reinvested_is_none() -> None:
    story = with_reserve()
    story.draw("2025-02-10", "20000.00")
    story.say("inv", "2025-03-31", "distribution", "600.00", of="return_of_capital", paid="cash")
    out = story.say(
        "inv", "2025-04-02", "withdrawal", "600.00", of="return_of_capital", to="personal"
    )
    assert found(story, "capital-leak") == [(out, "2025-04", "2025-06", "600.00", "act", True)]
    calm = with_reserve()
    calm.draw("2025-02-10", "20000.00")
    calm.say(
        "inv", "2025-03-31", "distribution", "600.00", of="return_of_capital", paid="reinvested"
    )
    assert found(calm, "capital-leak") == []


def test_own_money_takes_its_share_of_a_leak() -> None:
    story = with_reserve()
    story.draw("2025-02-10", "15000.00")
    story.say("inv", "2025-02-11", "contribution", "5000.00", **{"from": "own"})
    story.say("inv", "2025-03-31", "distribution", "600.00", of="return_of_capital", paid="cash")
    out = story.say("inv", "2025-04-02", "withdrawal", "600.00", to="mortgage")
    assert found(story, "capital-leak")[0][:4] == (out, "2025-04", "2025-06", "450.00")


def test_sale_proceeds_that_leave() -> None:
    story = with_reserve()
    story.draw("2025-02-10", "20000.00")
    # 40% of the cost sold for 9,600.00; 6,000.00 stays: 8,000.00 linked less 6,000.00.
    out = story.say(
        "inv", "2025-04-02", "withdrawal", "3600.00", of="proceeds", to="personal",
        proceeds="9600.00", cost_fraction="0.4",
    )  # fmt: skip
    assert found(story, "proceeds-leak") == [(out, "2025-04", "2025-06", "2000.00", "act", True)]


def test_income_that_leaves_is_no_leak_unless_it_is_more_than_was_received() -> None:
    story = with_reserve()
    story.draw("2025-02-10", "20000.00")
    story.say("inv", "2025-03-31", "distribution", "100.00", of="eligible_dividend", paid="cash")
    out = story.say("inv", "2025-04-02", "withdrawal", "100.00", of="income", to="personal")
    assert codes(story) & {"capital-leak", "proceeds-leak", "income-overstated"} == set()
    story.entries["inv"][-1]["amount"] = "130.00"
    assert found(story, "income-overstated") == [
        (out, "2025-04", "2025-06", "30.00", "paper", True)
    ]


def test_unpaid_interest_counts_after_twenty_five_days_when_the_plan_pays_cash() -> None:
    story = with_reserve(4)
    story.pays_interest = False
    story.draw("2025-02-01", "10000.00")
    # 27 nights to 28 February: 42.16; 31 nights on 10,042.16 to 31 March: 48.62.
    assert found(story, "interest-unpaid") == [("line", "2025-03", "2025-04", "90.78", "fix", True)]
    story.say("line", "2025-04-20", "repayment", "42.16")
    assert found(story, "interest-unpaid")[0][3] == "48.62"
    story.file["plan"]["line_interest"] = "from-line"
    assert found(story, "interest-unpaid") == []


def test_posted_interest_outside_the_tolerance() -> None:
    story = with_reserve(3)
    story.draw("2025-02-01", "10000.00")
    assert found(story, "interest-mismatch") == []
    story.posts_interest = False
    # A posting of nothing still ends its nights, so the next covers 28.
    story.say("line", "2025-01-31", "interest", "0.00")
    # Computed 42.16; 0.56 is within 0.02 x 28 (31 January to 27 February).
    story.say("line", "2025-02-28", "interest", "42.72")
    assert found(story, "interest-mismatch") == []
    story.entries["line"][-1]["amount"] = "42.73"
    assert found(story, "interest-mismatch") == [
        ("line:2025-02-28", "2025-02", "2025-03", "0.57", "paper", True)
    ]


def test_the_first_posting_after_a_gap_is_not_checked() -> None:
    story = with_reserve(5)
    story.draw("2025-02-01", "10000.00")
    story.skipped.add(("line", "2025-03"))
    assert found(story, "interest-mismatch") == []


def test_deduction_off_plan_needs_both_ten_percent_and_two_hundred_fifty() -> None:
    story = with_reserve(6)
    story.file["plan"]["reborrow"] = {
        "share": "0", "line": "line", "into": "inv", "opening_draw": "20000.00",
        "reserve": "0.00"}  # fmt: skip
    # The plan deducts 20,000.00 x 5.70% x nights / 365; nothing is drawn in life.
    runs = found(story, "deduction-off-plan")
    assert [one[:3] for one in runs] == [("2025", "2025-03", "2025-06")]
    # 93.70 + 87.45 + 96.82 + 93.70 + 96.82 + 93.70, posted month by month.
    assert runs[0][3:] == ("562.19", "note", True)


def test_owners_that_differ_put_the_claim_at_risk_unless_explained() -> None:
    story = steady()
    story.file["lines"][0]["payer"] = "m2"
    (run,) = found(story, "owner-mismatch")
    assert run[:3] == ("line", "2025-02", "2025-06")
    assert run[4:] == ("act", True)
    posted = sum(
        one.posted
        for one in evaluate(story.household()).view.lines["line"].postings  # type: ignore[union-attr]
    )
    assert run[3] == f"{posted / 100:.2f}"
    story.file["lines"][0]["owners_explained"] = "memo of the accountant"
    assert found(story, "owner-mismatch") == []
    story.file["lines"][0].pop("owners_explained")
    story.file["lines"][0]["payer"] = None
    assert found(story, "owner-mismatch") == []
    story.file["investments"][0]["owners"] = ["m1", "m2"]
    assert len(found(story, "owner-mismatch")) == 1


def test_a_portfolio_below_the_line_grows_graver() -> None:
    story = steady()
    story.values = {"2025-03": "1654.03", "2025-04": "2486.05", "2025-05": "2989.28",
                    "2025-06": "3300.00"}  # fmt: skip
    # 2,486.06 / 3,321.44 / 4,160.19 owed; 90% of 3,321.44 is 2,989.30.
    assert found(story, "underwater") == [("HH-7", "2025-04", "2025-06", "860.19", "act", True)]
    assert found(story, "underwater", "2025-05")[0][3:5] == ("332.16", "fix")
    assert found(story, "underwater", "2025-04")[0][3:5] == ("0.01", "note")


def test_underwater_is_silent_while_a_linked_account_has_no_statement() -> None:
    story = steady(3)
    story.skipped |= {("inv", month) for month in story.months}
    story.uses = [one for one in story.uses if one["draw"]]
    assert found(story, "underwater") == []


def test_a_supported_story_with_principals_on_file_is_quiet() -> None:
    assert len(PRINCIPALS) == 5
    assert codes(steady()) == set()
