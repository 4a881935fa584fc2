"""What is due, and one row for it however many look."""

from __future__ import annotations

from datetime import date

import pytest

from config.database import firm_scope
from ledger.models import HouseholdMonth, Job, MonthClose
from ledger.services.closing import facts, scheduling
from ledger.services.closing.facts import Coverage
from tests.ledger.services.closing import book
from tests.ledger.services.closing.test_claiming import together

pytestmark = pytest.mark.django_db

ACCOUNT, OTHER, HOUSEHOLD = (book.uuid4() for _ in range(3))


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_eight_schedulers_make_one_close_a_month():
    firm = book.firm_of("Lantern Ridge", book.sample("limits"), book.sample("papers"))
    added = together(8, scheduling.schedule_all)
    with firm_scope(firm):
        months = list(MonthClose.objects.order_by("month").values_list("month", flat=True))
        assert len(months) == len(set(months)) == len(facts.coverage().months_over())
        assert HouseholdMonth.objects.count() == sum(added) == 2 * len(months)
        assert Job.objects.filter(kind="close").count() == len(months)


def test_a_week_of_downtime_is_caught_up_by_one_look():
    firm = book.firm_of("Lantern Ridge", book.sample("limits"))
    scheduling.schedule_all()
    assert scheduling.schedule_all() == 0
    with firm_scope(firm):
        today = facts.firm_today()
        last = MonthClose.objects.order_by("-month").first()
    assert (
        last.month
        < today.replace(day=1)
        <= date(last.month.year + last.month.month // 12, last.month.month % 12 + 1, 1)
    )


def test_a_household_that_comes_later_joins_the_closes_there_are():
    firm = book.firm_of("Lantern Ridge", book.sample("limits"))
    book.schedule(firm, "2025-03")
    book.load(firm, book.sample("papers"))
    book.schedule(firm, "2025-03")
    assert [one.household.ref for one in book.rows(firm)] == ["HH-0304", "HH-0307"]
    assert len({one.close_id for one in book.rows(firm)}) == 1


def test_a_household_belongs_to_a_month_from_its_first_statement_on():
    books = Coverage(
        date(2025, 6, 1), {HOUSEHOLD: {ACCOUNT: [(date(2025, 2, 1), date(2025, 2, 28))]}}
    )
    assert books.started(date(2025, 1, 1)) == []
    assert books.started(date(2025, 2, 1)) == [HOUSEHOLD]
    assert books.started(date(2025, 5, 1)) == [HOUSEHOLD]


@pytest.mark.parametrize(
    ("today", "ready"),
    [(date(2025, 3, 1), False), (date(2025, 3, 10), False), (date(2025, 3, 11), True)],
)
def test_a_month_without_a_statement_waits_ten_days(today, ready):
    books = Coverage(
        today,
        {
            HOUSEHOLD: {
                ACCOUNT: [(date(2025, 1, 1), date(2025, 2, 28))],
                OTHER: [(date(2025, 1, 1), date(2025, 1, 31))],
            }
        },
    )
    assert books.is_ready(HOUSEHOLD, date(2025, 2, 1)) is ready


def test_a_month_with_every_statement_waits_for_nothing():
    books = Coverage(
        date(2025, 3, 1), {HOUSEHOLD: {ACCOUNT: [(date(2025, 1, 15), date(2025, 2, 28))]}}
    )
    assert books.is_ready(HOUSEHOLD, date(2025, 2, 1))


@pytest.mark.parametrize(
    ("today", "months"),
    [
        (date(2025, 1, 31), []),
        (date(2025, 2, 1), [date(2025, 1, 1)]),
        (date(2025, 3, 31), [date(2025, 1, 1), date(2025, 2, 1)]),
        (date(2025, 4, 1), [date(2025, 1, 1), date(2025, 2, 1), date(2025, 3, 1)]),
    ],
)
def test_a_month_is_due_once_its_last_day_has_passed(today, months):
    books = Coverage(today, {HOUSEHOLD: {ACCOUNT: [(date(2025, 1, 10), date(2025, 1, 31))]}})
    assert books.months_over() == months


@pytest.mark.parametrize("zone", ["America/Toronto", "America/St_Johns", "Pacific/Kiritimati"])
def test_the_firms_date_is_that_of_its_own_calendar(zone):
    from datetime import UTC, datetime
    from zoneinfo import ZoneInfo

    firm = book.new_firm("Lantern Ridge")
    book.bend(firm, "UPDATE planning_firm SET timezone = %(zone)s", zone=zone)
    with firm_scope(firm):
        before = datetime.now(UTC).astimezone(ZoneInfo(zone)).date()
        found = facts.firm_today()
        assert before <= found <= datetime.now(UTC).astimezone(ZoneInfo(zone)).date()
