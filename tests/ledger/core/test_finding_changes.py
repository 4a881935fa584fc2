"""How a close moves the list of findings: opened, changed, ended, corrected away."""

from dataclasses import replace

from ledger.core.finding_changes import Change, Listed, Run, changes

MIXED = Run(
    code="mixed-line",
    key="line",
    first="2025-03",
    last="2025-05",
    open=True,
    dollars_cents=120_000,
    cost_per_year_cents=3_000,
    severity="act",
    life="state",
)


def listed(run: Run = MIXED, state: str = "open") -> Listed:
    return Listed(id="1", run=run, state=state)  # type: ignore[arg-type]


def one(change: tuple[Change, ...]) -> Change:
    assert len(change) == 1
    return change[0]


def test_a_new_trigger_opens_a_finding():
    change = one(changes((), (MIXED,)))
    assert (change.listed, change.state, change.events) == (None, "open", ("opened",))


def test_the_same_close_twice_changes_nothing():
    assert changes((listed(),), (MIXED,)) == ()


def test_another_month_moves_the_last_month_and_is_no_event():
    change = one(changes((listed(),), (replace(MIXED, last="2025-06"),)))
    assert (change.run.last, change.state, change.events) == ("2025-06", "open", ())


def test_other_dollars_are_told():
    change = one(changes((listed(),), (replace(MIXED, last="2025-06", dollars_cents=1),)))
    assert change.events == ("changed",)


def test_a_persons_acceptance_stands_while_the_finding_lasts():
    change = one(changes((listed(state="accepted"),), (replace(MIXED, dollars_cents=1),)))
    assert change.state == "accepted"


def test_a_graver_finding_returns_to_the_list_whatever_was_decided():
    row = listed(replace(MIXED, severity="note"), state="accepted")
    assert one(changes((row,), (MIXED,))).state == "open"


def test_a_trigger_that_stopped_is_cured():
    change = one(changes((listed(),), (replace(MIXED, open=False),)))
    assert (change.state, change.events) == ("cured", ("cured",))


def test_a_finding_of_one_month_passes():
    run = replace(MIXED, life="month")
    change = one(changes((listed(run),), (replace(run, open=False),)))
    assert (change.state, change.events) == ("closed", ("passed",))


def test_a_trigger_that_returns_is_a_second_finding():
    ended = replace(MIXED, open=False)
    again = replace(MIXED, first="2025-08", last="2025-08")
    change = one(changes((listed(ended, "cured"),), (ended, again)))
    assert (change.listed, change.run.first, change.events) == (None, "2025-08", ("opened",))


def test_corrected_facts_withdraw_a_finding_and_keep_the_row():
    change = one(changes((listed(),), ()))
    assert change.listed is not None
    assert (change.run.open, change.state, change.events) == (False, "closed", ("withdrawn",))
    row = Listed("1", change.run, change.state)
    assert changes((row,), ()) == ()


def test_a_correction_that_moves_the_beginning_keeps_the_decision():
    change = one(changes((listed(state="seen"),), (replace(MIXED, first="2025-02"),)))
    assert change.listed is not None
    assert (change.run.first, change.state, change.events) == ("2025-02", "seen", ("changed",))


def test_rows_that_close_are_written_before_rows_that_open():
    ended = replace(MIXED, open=False, last="2025-04")
    again = replace(MIXED, first="2025-06", last="2025-06")
    moves = changes((listed(),), (ended, again))
    assert [change.run.open for change in moves] == [False, True]


def test_a_missing_paper_put_on_file_is_a_cure():
    paper = replace(MIXED, code="unsupported-draw", life="fact", severity="paper")
    change = one(changes((listed(paper),), ()))
    assert (change.run.open, change.state, change.events) == (False, "cured", ("mended",))
    assert changes((Listed("1", change.run, change.state),), ()) == ()


def test_a_new_term_put_on_file_is_a_cure():
    due = replace(MIXED, code="renewal-due", key="mtg:2025-09-01")
    assert one(changes((listed(due),), ())).events == ("mended",)


def test_a_term_that_ran_out_was_not_cured():
    due = replace(MIXED, code="renewal-due", key="mtg:2025-05-20", open=False)
    passed = replace(due, code="renewal-passed", first="2025-05", last="2025-06", open=True)
    found = {
        change.run.code: change
        for change in changes((listed(replace(due, open=True)),), (due, passed))
    }
    assert (found["renewal-due"].state, found["renewal-due"].events) == ("closed", ("passed",))
    assert found["renewal-passed"].events == ("opened",)
    paid_off = one(changes((listed(replace(due, open=True)),), (due,)))
    assert (paid_off.state, paid_off.events) == ("cured", ("cured",))


def test_a_privilege_counts_again_with_the_new_year():
    over = replace(MIXED, code="prepayment-over-privilege", key="mtg:2025", severity="note")
    change = one(changes((listed(over),), (replace(over, open=False),)))
    assert (change.state, change.events) == ("closed", ("passed",))
