"""Missed and late re-borrowing: the room left open, newest freed principal first."""

from __future__ import annotations

from tests.ledger.core.story import PRINCIPALS, Story, codes, found


def drawn(amounts: dict[str, str], months: int = 6) -> Story:
    """A story with one draw on the 1st of each month given."""
    story = Story(months=months)
    for month, amount in amounts.items():
        story.draw(f"2025-{month}-01", amount)
    return story


PERFECT = dict(zip(("02", "03", "04", "05", "06"), PRINCIPALS, strict=True))


def test_a_household_that_follows_its_plan_raises_nothing() -> None:
    story = Story()
    story.reborrow_all()
    assert codes(story) == set()


def test_a_skipped_month_stays_open_until_the_room_is_drawn() -> None:
    story = drawn({month: cents for month, cents in PERFECT.items() if month != "03"})
    assert found(story, "missed-reborrow") == [
        ("line", "2025-03", "2025-06", "828.68", "fix", True)
    ]
    story.draw("2025-05-20", "828.68")
    assert found(story, "missed-reborrow") == [
        ("line", "2025-03", "2025-04", "828.68", "fix", False)
    ]


def test_room_counts_from_fifty_dollars_on() -> None:
    almost = drawn({**PERFECT, "06": "788.76"})
    assert found(almost, "missed-reborrow") == []
    enough = drawn({**PERFECT, "06": "788.75"})
    assert found(enough, "missed-reborrow") == [
        ("line", "2025-06", "2025-06", "50.00", "fix", True)
    ]


def test_only_room_open_through_all_of_the_last_ten_days_counts() -> None:
    story = drawn({month: cents for month, cents in PERFECT.items() if month != "06"})
    story.draw("2025-06-30", "838.75")
    assert found(story, "missed-reborrow") == []
    early = drawn({month: cents for month, cents in PERFECT.items() if month != "06"})
    early.draw("2025-06-20", "838.75")
    early.say("line", "2025-06-21", "repayment", "838.75")
    assert found(early, "missed-reborrow")[0][3] == "838.75"


def test_the_reserve_and_a_share_below_one_are_left_open_on_purpose() -> None:
    story = drawn({month: cents for month, cents in PERFECT.items() if month != "03"})
    story.file["plan"]["reborrow"]["reserve"] = "800.00"
    assert found(story, "missed-reborrow") == []
    story.file["plan"]["reborrow"]["reserve"] = "778.68"
    assert found(story, "missed-reborrow")[0][3] == "50.00"
    half = drawn({})
    half.file["plan"]["reborrow"]["share"] = "0.5"
    # 4,160.19 freed by June; half of it, rounded, is kept: 2,080.10.
    assert found(half, "missed-reborrow")[-1][3] == "2080.09"


def test_the_stated_limit_rules_over_the_computed_one() -> None:
    story = Story()
    story.reborrow_all()
    story.limits["2025-06"] = "5000.00"
    assert found(story, "missed-reborrow") == [
        ("line", "2025-06", "2025-06", "839.81", "fix", True)
    ]


def test_nothing_is_missed_before_the_plan_starts_or_without_one() -> None:
    story = drawn({})
    story.file["plan"]["starts"] = "2025-04-01"
    story.file["plan"]["opening"]["mtg"] = "478345.97"
    assert found(story, "missed-reborrow")[0][1] == "2025-04"
    story.file["plan"] = None
    assert found(story, "missed-reborrow") == []


def test_a_draw_is_late_when_fifty_dollars_of_it_waited_more_than_ten_days() -> None:
    story = drawn({month: cents for month, cents in PERFECT.items() if month != "03"})
    late = story.draw("2025-03-12", "828.68")
    assert found(story, "late-reborrow") == [(late, "2025-03", "2025-03", "828.68", "note", False)]
    on_time = drawn({month: cents for month, cents in PERFECT.items() if month != "03"})
    on_time.draw("2025-03-11", "828.68")
    assert found(on_time, "late-reborrow") == []


def test_the_newest_principal_is_used_first_so_a_catch_up_shows_what_waited() -> None:
    story = drawn({**{k: v for k, v in PERFECT.items() if k not in ("03", "04")}, "04": "1660.71"})
    (late,) = found(story, "late-reborrow")
    assert late[1:4] == ("2025-04", "2025-04", "1660.71")
    small = drawn({**PERFECT, "03": "778.69", "04": "882.02"})
    # 49.99 of April's draw waited since March: below the threshold.
    assert found(small, "late-reborrow") == []


def test_a_draw_is_not_late_while_room_is_still_missed_or_when_it_is_personal() -> None:
    story = drawn({month: cents for month, cents in PERFECT.items() if month != "03"})
    story.draw("2025-03-15", "700.00")
    assert found(story, "late-reborrow") == []
    personal = drawn({month: cents for month, cents in PERFECT.items() if month != "03"})
    personal.draw("2025-03-15", "828.68", use="personal")
    assert found(personal, "late-reborrow") == []
