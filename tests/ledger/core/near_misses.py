"""For every drift rule a household in which it fires and one that differs in a single fact.

Each row makes the household twice: `near` False is found, `near` True lies a
cent, a day or a basis point (or, where the rule asks who or what, one word)
beside it and is not. Figures follow from the steady story: principals 825.35,
828.68, 832.03, 835.38 and 838.75 re-borrowed on the 1st of February to June, so
4,160.19 owed on the line and 475,839.81 on the mortgage at the end of June.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Protocol

from ledger.core.close import Closing, latest_month
from planning.core.household_file import household_from_json
from planning.core.plan import run_plan
from planning.core.types import Household
from tests.ledger.core.story import PRINCIPALS, Story, money

File = dict[str, Any]


class Row(Protocol):
    """Makes the household of one rule, or the one beside it."""

    __name__: str

    def __call__(self, *, near: bool) -> Story | File: ...


def steady(months: int = 6, first: str = "2025-01") -> Story:
    """A household that does what its plan says."""
    story = Story(first, months)
    story.reborrow_all()
    return story


def roomy() -> Story:
    """The same with room beyond what the plan uses."""
    story = steady()
    story.file["facility"]["registered_limit"] = "500000.00"
    return story


def codes_of(made: Story | File) -> set[str]:
    """Every code found at any close."""
    household = _household(made)
    closing, last = Closing(household), latest_month(household)
    assert last is not None
    return {one.code for month in closing.months(last) for one in closing.findings(month)}


def _household(made: Story | File) -> Household:
    return household_from_json(made if isinstance(made, dict) else made.json(), "near")


def _statement(data: File, account: str, month: str) -> File:
    return next(
        one
        for one in data["statements"]
        if one["account"] == account and one["starts"].startswith(month)
    )


def missed_reborrow(*, near: bool) -> Story:
    """Room of 50.00 is missed, 49.99 is not."""
    story = steady()
    story.limits["2025-06"] = "4210.18" if near else "4210.19"
    return story


def late_reborrow(*, near: bool) -> Story:
    """March's principal is drawn eleven or ten days after the 1st."""
    story = Story()
    for month, cents in zip(("02", "03", "04", "05", "06"), PRINCIPALS, strict=True):
        day = "01" if month != "03" else "11" if near else "12"
        story.draw(f"2025-{month}-{day}", cents)
    return story


def _split(use: str, *, near: bool) -> Story:
    """A draw of 500.00, a cent of which went elsewhere, or none of it."""
    story = roomy()
    draw = story.draw("2025-03-10", "500.00")
    other, rest = ("0.00", "500.00") if near else ("0.01", "499.99")
    story.uses[-1] = {"draw": draw, "splits": [
        {"amount": rest, "use": "income-investment", "to": "inv", "evidence": ["confirm"]},
        {"amount": other, "use": use, "evidence": []}]}  # fmt: skip
    return story


def personal_use(*, near: bool) -> Story:
    return _split("personal", near=near)


def registered_destination(*, near: bool) -> Story:
    return _split("registered-plan", near=near)


def mixed_line(*, near: bool) -> Story:
    return _split("life-policy", near=near)


def unsupported_draw(*, near: bool) -> Story:
    """At the end of June a draw without paper is 31 or 30 days old."""
    story = roomy()
    story.draw("2025-05-31" if near else "2025-05-30", "300.00", evidence=(), buys=False)
    return story


def idle_draw(*, near: bool) -> Story:
    """The money of 10 March is invested six or five days later."""
    story = roomy()
    draw = story.draw("2025-03-10", "300.00", buys=False)
    story.say("inv", "2025-03-15" if near else "2025-03-16", "contribution", "300.00",
              **{"from": draw})  # fmt: skip
    return story


def capital_leak(*, near: bool) -> Story:
    """A cent of returned capital leaves, or none."""
    story = steady()
    story.say("inv", "2025-03-03", "distribution", "5.00", of="return_of_capital", paid="cash")
    story.say("inv", "2025-03-04", "withdrawal", "0.00" if near else "0.01",
              of="return_of_capital", to="personal")  # fmt: skip
    return story


def proceeds_leak(*, near: bool) -> Story:
    """Half of what cost 3,321.44 is sold for 1,700.00: 39.28 may leave, one cent more may not."""
    story = steady()
    story.say("inv", "2025-05-10", "withdrawal", "39.28" if near else "39.29", of="proceeds",
              to="personal", proceeds="1700.00", cost_fraction="0.5")  # fmt: skip
    return story


def income_overstated(*, near: bool) -> Story:
    """10.00 of income came in; 10.01 or 10.00 goes out as income."""
    story = steady()
    story.say("inv", "2025-03-03", "distribution", "10.00", of="interest", paid="cash")
    story.say("inv", "2025-03-04", "withdrawal", "10.00" if near else "10.01", of="income",
              to="personal")  # fmt: skip
    return story


def interest_unpaid(*, near: bool) -> Story:
    """At the end of June a posting is 26 or 25 days old."""
    story = steady()
    story.posts_interest = False
    story.say("line", "2025-06-05" if near else "2025-06-04", "interest", "1.00")
    return story


def interest_mismatch(*, near: bool) -> File:
    """Thirty nights allow 0.60; the lender posts 0.61 or 0.60 too much."""
    data = steady().json()
    june = _statement(data, "line", "2025-06")
    (posted,) = (one for one in june["entries"] if one["kind"] == "interest")
    posted["amount"] = money(Decimal(posted["amount"]) + Decimal("0.60" if near else "0.61"))
    return data


def balance_break(*, near: bool) -> File:
    """A closing lies a cent beside its entries, or on them."""
    data = steady().json()
    june = _statement(data, "line", "2025-06")
    june["closing"] = "4160.19" if near else "4160.20"
    return data


def statement_missing(*, near: bool) -> File:
    """The last statement reaches the month's last day, or the day before it."""
    data = steady().json()
    _statement(data, "inv", "2025-06")["ends"] = "2025-06-30" if near else "2025-06-29"
    return data


def payment_missed(*, near: bool) -> Story:
    """The payment of 25 June is missing on the 30th; one of the 26th may still come."""
    story = Story()
    story.file["mortgages"][0]["first_payment"] = "2025-02-26" if near else "2025-02-25"
    story.pays_mortgage = {f"2025-0{n}": "25" for n in range(2, 6)} | {"2025-06": None}
    return story


def payment_off_plan(*, near: bool) -> Story:
    """1.01 or 1.00 more than planned."""
    story = steady()
    extra = "1.00" if near else "1.01"
    story.say("mtg", "2025-05-15", "payment", extra, interest="0.00", principal=extra)
    return story


def renewal_due(*, near: bool) -> Story:
    """30 June is 120 or 121 days before maturity."""
    story = steady()
    story.file["mortgages"][0]["terms"][0]["matures"] = "2025-10-29" if near else "2025-10-28"
    return story


def renewal_passed(*, near: bool) -> Story:
    """The term matures on 30 June, or the day before."""
    story = steady()
    story.file["mortgages"][0]["terms"][0]["matures"] = "2025-06-30" if near else "2025-06-29"
    return story


def rate_off_plan(*, near: bool) -> Story:
    """Prime is 25 or 24 basis points below the plan's."""
    story = steady()
    story.file["plan"]["prime"] = [["2025-01-01", "0.0544" if near else "0.0545"]]
    return story


def limit_short(*, near: bool) -> Story:
    """The stated limit is 50.01 or 50.00 below 4,160.19."""
    story = steady()
    story.limits["2025-06"] = "4110.19" if near else "4110.18"
    return story


def limit_cut(*, near: bool) -> Story:
    """The stated limit falls by 50.01 or 50.00."""
    story = steady()
    story.limits |= {"2025-05": "5000.00", "2025-06": "4950.00" if near else "4949.99"}
    return story


def over_limit(*, near: bool) -> Story:
    """4,160.19 is owed on a limit a cent lower, or the same."""
    story = steady()
    story.limits["2025-06"] = "4160.19" if near else "4160.18"
    return story


def cap_exceeded(*, near: bool) -> Story:
    """480,000.00 of debt is 80% of 600,000.00 and more than 80% of a cent less."""
    story = steady()
    story.file["facility"]["lender_value"] = "600000.00" if near else "599999.99"
    return story


def trigger_rate(*, near: bool) -> Story:
    """The payment lies within 10% of the interest on 480,000.00 or less, or a cent above that."""
    story = steady()
    story.file["mortgages"][0]["terms"][0] = {
        "starts": "2025-01-01", "matures": "2030-01-01", "kind": "static", "spread": "-0.0031",
        "payment": TRIGGER[near]}  # fmt: skip
    return story


# Interest on 480,000.00 at (1 + 0.0489/2)^(1/6) - 1 is 1,936.37; 1.1 x that is 2,130.007.
TRIGGER = {False: "2130.00", True: "2130.01"}


def prepayment_over_privilege(*, near: bool) -> Story:
    """15% of 480,000.00 is 72,000.00."""
    story = steady()
    story.say("mtg", "2025-05-15", "prepayment", "72000.00" if near else "72000.01")
    return story


def refund_not_applied(*, near: bool) -> Story:
    """Nine tenths of the plan's refund are prepaid, or a cent less."""
    story = steady(9, "2025-11")
    story.file["plan"] |= {"refund": "prepay", "refund_month": 5}
    (refund,) = (row.refund for row in run_plan(story.household()).rows if row.month == "2026-05")
    least = -(-refund * 9 // 10)
    story.say("mtg", "2026-05-10", "prepayment", money(Decimal(least - (not near)) / 100))
    return story


def distribution_not_applied(*, near: bool) -> Story:
    """90.00 or 89.99 of a distribution of 100.00 is prepaid."""
    story = steady()
    story.file["plan"]["investment"]["distributions"] = "prepay"
    story.say("inv", "2025-03-31", "distribution", "100.00", of="interest", paid="cash")
    story.say("mtg", "2025-04-10", "prepayment", "90.00" if near else "89.99")
    return story


def deduction_off_plan(*, near: bool) -> Story:
    """250.01 or 250.00 more is deducted by the end of June than planned."""
    story = steady()
    story.posts_interest = False
    rows = run_plan(story.household()).rows
    planned = sum(row.deductible for row in rows if row.month <= "2025-06")
    cents = planned + (25_000 if near else 25_001)
    for kind in ("interest", "repayment"):
        story.say("line", "2025-06-30", kind, money(Decimal(cents) / 100))
    return story


def owner_mismatch(*, near: bool) -> Story:
    """The other spouse pays, or the borrower does."""
    story = steady()
    story.file["lines"][0]["payer"] = "m1" if near else "m2"
    return story


def underwater(*, near: bool) -> Story:
    """The portfolio is worth what the line owes, or a cent less."""
    story = steady()
    story.values["2025-06"] = "4160.19" if near else "4160.18"
    return story


def assessed(**known: object) -> Story:
    """The steady story with an assessment of June."""
    story = steady()
    story.file["suitability"] = {"assessments": [{"on": "2025-06-15", **known}]}
    return story


def leverage_threshold(*, near: bool) -> Story:
    """4,160.19 is 30% of 13,867.30 and more than 30% of a cent less."""
    return assessed(net_worth="13867.30" if near else "13867.29")


def disclosure_stale(*, near: bool) -> Story:
    """On 30 June six months have passed since 29 December, and not since the 30th."""
    story = steady()
    story.file["suitability"] = {"disclosures": ["2024-12-30" if near else "2024-12-29"]}
    return story


def amt_exposure(*, near: bool) -> Story:
    """A gain of 900,000.00 falls on the last day of June, or on the day after."""
    story = steady()
    on = "2025-07-01" if near else "2025-06-30"
    story.file["members"][0]["gains"] = [{"on": on, "amount": "900000.00"}]
    return story


def quebec_limit(*, near: bool) -> Story:
    """The year's investment income is its interest, or a cent less."""
    story = steady()
    story.file["members"][0]["province"] = "QC"
    posted = sum(
        Decimal(entry["amount"])
        for one in story.json()["statements"]
        for entry in one["entries"]
        if entry["kind"] == "interest"
    )
    income = money(posted if near else posted - Decimal("0.01"))
    story.say("inv", "2025-02-01", "distribution", income, of="interest", paid="reinvested")
    return story


def tax_benefit_dominates(*, near: bool) -> Story:
    """The growth at which the return without tax passes the tax benefit, to 0.01 points."""
    story = steady()
    story.file["plan"]["investment"]["growth"] = GROWTH[near]
    return story


GROWTH = {False: "0.1283", True: "0.1284"}

NEAR_MISSES: dict[str, Row] = {
    one.__name__.replace("_", "-"): one
    for one in (
        missed_reborrow, late_reborrow, personal_use, registered_destination, unsupported_draw,
        idle_draw, mixed_line, capital_leak, proceeds_leak, income_overstated, interest_unpaid,
        interest_mismatch, balance_break, statement_missing, payment_missed, payment_off_plan,
        renewal_due, renewal_passed, rate_off_plan, limit_short, limit_cut, over_limit,
        cap_exceeded, trigger_rate, prepayment_over_privilege, refund_not_applied,
        distribution_not_applied, deduction_off_plan, owner_mismatch, underwater,
        leverage_threshold, disclosure_stale, amt_exposure, quebec_limit, tax_benefit_dominates,
    )
}  # fmt: skip
