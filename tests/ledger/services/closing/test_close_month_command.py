"""`close_month`: what it closes, what it answers, what it refuses and how to mend it."""

from __future__ import annotations

import json
from io import StringIO

import pytest
from django.core.management import call_command

from config.database import firm_scope
from ledger.models import HouseholdMonth
from ledger.services.closing import asking
from tests.ledger.services.closing import book

pytestmark = pytest.mark.django_db


@pytest.fixture
def firm():
    return book.firm_of("Lantern Ridge", book.sample("limits"), book.sample("papers"))


def run(*words: str) -> tuple[int, str, str]:
    """Exit code, standard output, standard error of the command."""
    out, err = StringIO(), StringIO()
    try:
        call_command("close_month", *words, stdout=out, stderr=err)
    except SystemExit as ended:
        return int(ended.code or 0), out.getvalue(), err.getvalue()
    return 0, out.getvalue(), err.getvalue()


def closed(firm_id):
    return [
        (one.household.ref, f"{one.month:%Y-%m}", one.state, one.version)
        for one in book.rows(firm_id)
    ]


def test_a_month_is_closed_for_every_household(firm):
    code, out, _ = run("2025-03")
    assert code == 0
    assert "2025-03  complete  2 households: 2 done" in out
    assert closed(firm) == [("HH-0304", "2025-03", "done", 1), ("HH-0307", "2025-03", "done", 1)]


def test_only_what_is_asked_is_closed(firm):
    assert run("2025-04", "--from", "2025-03", "--household", "HH-0307")[0] == 0
    assert closed(firm) == [("HH-0307", "2025-03", "done", 1), ("HH-0307", "2025-04", "done", 1)]


def test_the_same_command_twice_changes_nothing_and_says_the_same(firm):
    first = run("2025-03", "--json")
    assert run("2025-03", "--json") == first
    assert json.loads(first[1])["firms"][0]["months"][0]["state"] == "complete"


def test_facts_that_changed_without_a_mark_are_found(firm):
    run("2025-03")
    book.put_thresholds(firm, {"limit_short": "1.00"})
    assert run("2025-03")[0] == 0
    assert [one.version for one in book.rows(firm)] == [1, 2, 1, 2]


def test_the_answer_as_json(firm):
    code, out, _ = run("2025-03", "--firm", "Lantern Ridge", "--json")
    answer = json.loads(out)
    assert (code, answer["from"], answer["through"]) == (0, "2025-03", "2025-03")
    household = answer["firms"][0]["households"][0]
    assert household["digest"] == book.row(firm, "2025-03", household__ref="HH-0304").input_digest
    assert (household["household"], household["state"]) == ("HH-0304", "done")


def test_a_parked_household_ends_with_one_and_its_error(firm):
    book.schedule(firm, "2025-03")
    book.bend(
        firm,
        "UPDATE ledger_householdmonth SET state = 'parked', error = 'no such line'"
        " WHERE household_id = %(id)s",
        id=book.household(firm, "HH-0304"),
    )
    code, out, _ = run("2025-03")
    assert code == 1
    assert "complete_with_exceptions" in out
    assert "HH-0304  2025-03  parked  no such line" in out


def test_a_fault_of_the_facts_parks_the_household_and_closes_the_others(firm):
    book.put_thresholds(firm, {"no_such_threshold": 1})
    code, out, _ = run("2025-03")
    assert code == 1
    assert "'no_such_threshold' is not a threshold" in out
    assert {state for _, _, state, _ in closed(firm)} == {"parked"}


def test_facts_that_cannot_be_read_leave_the_results_and_say_so(firm):
    run("2025-03")
    book.put_thresholds(firm, {"no_such_threshold": 1})
    code, _, err = run("2025-03")
    assert code == 1
    assert "'no_such_threshold' is not a threshold" in err
    assert [one.state for one in book.rows(firm)] == ["done", "done"]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("2025-13",), "'2025-13' is not a month. Write the year and the month"),
        (("May",), "'May' is not a month"),
        (("2025-03", "--from", "2025"), "--from: '2025' is not a month"),
        (("2025-03", "--from", "2025-04"), "2025-04 is later than 2025-03"),
        (("2999-01",), "2999-01 is not over yet. Close "),
        (("2024-12",), "2024-12 lies before the first statement, which starts in 2025-01"),
        (("2025-03", "--firm", "Nowhere"), "there is no firm 'Nowhere'. Known firms: Lantern"),
        (("2025-03", "--household", "HH-9999"), "has no household HH-9999. Check the reference"),
    ],
)
def test_bad_input_is_refused_with_a_remedy_and_writes_nothing(firm, words, message):
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert message in err
    with firm_scope(firm):
        assert HouseholdMonth.objects.count() == 0


def test_bad_input_as_json(firm):
    code, out, _ = run("2025-13", "--json")
    assert code == 2
    assert json.loads(out)["problems"][0]["where"] == "MONTH"


def test_without_a_firm_there_is_nothing_to_close():
    code, _, err = run("2025-03")
    assert code == 2
    assert "there is no firm yet. Load a household first" in err


def test_two_firms_with_the_same_reference_need_a_name(firm):
    book.firm_of("Alder Point", book.sample("limits"))
    code, _, err = run("2025-03", "--household", "HH-0307")
    assert code == 2
    assert "Name the firm with --firm" in err
    assert run("2025-03", "--household", "HH-0307", "--firm", "Alder Point")[0] == 0
    assert closed(firm) == []


def test_one_firms_household_is_closed_without_naming_the_firm(firm):
    book.firm_of("Alder Point", book.sample("steady"))
    assert run("2025-03", "--household", "HH-0307")[0] == 0
    assert [one[0] for one in closed(firm)] == ["HH-0307"]


def test_a_marked_month_is_waited_for_until_it_was_looked_at(firm):
    run("2025-03")
    (work, *_) = asking.plan_work(month="2025-03", first=None, firm="Lantern Ridge", household=None)
    assert next(asking.watch(work)) == (2, 2)
    book.bend(firm, "UPDATE ledger_householdmonth SET stale_reason = 'a late paper'")
    assert next(asking.watch(work)) == (0, 2)
    book.bend(firm, "UPDATE ledger_householdmonth SET error = 'the plan does not read'")
    assert next(asking.watch(work)) == (2, 2)
