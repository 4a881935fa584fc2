"""A household's book through any order of acts, on the real database, beside a plain model.

Acts: statements come in, uses are decided and taken back, papers handed in and
taken back, months closed, the book dumped and loaded. After every act the
classes add up to the balance, nothing on record has gone or changed, the book
says what the model says, and a month that counts as closed has the digest that
its facts give.
"""

from __future__ import annotations

import json
from typing import Any
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from config.audit import broken_links
from config.database import firm_scope
from config.problems import BadInput
from ledger import models as rows
from ledger.core.close import evaluate
from ledger.core.digest import ENGINE, Digests
from ledger.core.drift.thresholds import DEFAULTS
from ledger.core.report import report_json
from ledger.core.tracing import trace
from ledger.mapping import household_value
from ledger.services.closing import running
from ledger.services.households import load_households
from ledger.services.papers import attach_evidence, withdraw_evidence
from ledger.services.uses import DecidedMeanwhileError, decide_use
from planning.access import Access
from planning.core.household_file import household_from_json, household_to_json
from planning.core.months import last_day
from planning.core.types import Evidence, Household, Split
from tests import papers
from tests.ledger.services.closing import book

WHOLE = book.sample("papers")
REF = WHOLE["household"]["ref"]
MONTHS = [f"2025-{number:02d}" for number in range(1, 9)]
CONTENTS = (papers.TEXT, papers.image(), papers.HTML)
NAMES = ("confirm", "confirm-late", "")
USES = ("income-investment", "personal", "rental-expense", "line-interest", "registered-plan")


class BookMachine(RuleBasedStateMachine):
    """The book of one household in a firm of its own."""

    def __init__(self) -> None:
        super().__init__()
        self.known = 3
        self.firm_id = book.firm_of(
            f"Lantern Ridge {uuid4()}", book.cut(WHOLE, MONTHS[self.known - 1])
        )
        self.access = Access.system(self.firm_id, "test")
        self.household_id = book.household(self.firm_id)
        self.claims = {one.draw: one.splits for one in self.value.uses}
        self.on_file: set[tuple[str, bytes]] = set()
        self.seen: dict[tuple[str, Any], Any] = {}

    # -- what is on file -----------------------------------------------------------

    @property
    def value(self) -> Household:
        """The household as its book says."""
        with self.access.opened():
            return household_value(self.access.household(REF))

    def dump(self) -> dict[str, Any]:
        """Its file."""
        return json.loads(json.dumps(household_to_json(self.value)))

    def draws(self) -> list[tuple[str, int]]:
        """The line's draws on file with their cents."""
        listed = [one for one in self.value.statements if one.account == "line"]
        return [
            (entry.id, entry.amount_cents)
            for one in listed
            for entry in one.entries
            if entry.kind == "draw"
        ]

    # -- acts -------------------------------------------------------------------------

    @precondition(lambda self: self.known < len(MONTHS))
    @rule()
    def statements_come(self) -> None:
        """A month more, decisions as they stand."""
        self.known += 1
        fresh = book.cut(WHOLE, MONTHS[self.known - 1])
        file = self.dump() | {"statements": fresh["statements"]}
        load_households(access=self.access, files=[("next.json", json.dumps(file).encode())])

    @rule()
    def load_what_was_dumped(self) -> None:
        """The book's own file changes nothing."""
        content = json.dumps(self.dump()).encode()
        (loaded,) = load_households(access=self.access, files=[("same.json", content)])
        assert not loaded.changed

    @rule(
        place=st.integers(0, 20),
        parts=st.lists(
            st.tuples(st.sampled_from(USES), st.integers(1, 60), st.booleans()), max_size=3
        ),
        late=st.booleans(),
    )
    def decide(self, *, place: int, parts: list[tuple[str, int, bool]], late: bool) -> None:
        """Splits in percent of the draw, which may come to more than all of it."""
        draws = self.draws()
        draw, cents = draws[place % len(draws)]
        splits = tuple(
            Split(
                cents * share // 100,
                use,
                "inv" if use == "income-investment" else None,
                None,
                (Evidence("confirm", None),) if shown else (),
            )
            for use, share, shown in parts
        )
        words: dict[str, Any] = {"ref": REF, "draw": draw, "splits": splits, "reason": "as told"}
        held = self.claims.get(draw, ())
        if sum(one.amount_cents for one in splits) > cents:
            with pytest.raises(BadInput):
                decide_use(access=self.access, **words)
            return
        if late and splits != held:
            with pytest.raises(DecidedMeanwhileError):
                decide_use(access=self.access, seen=999, **words)
            return
        first = decide_use(access=self.access, **words)
        again = decide_use(access=self.access, seen=999, **words)
        assert first is again is None or (first and again and first.pk == again.pk)
        self.claims.pop(draw, None)
        if splits:
            self.claims[draw] = splits

    @rule(content=st.sampled_from(CONTENTS), name=st.sampled_from(NAMES))
    def hand_in(self, content: bytes, name: str) -> None:
        """A paper, or what is none."""
        words: dict[str, Any] = {"ref": REF, "files": [("p.pdf", content)], "evidence": name}
        if content == papers.HTML:
            with pytest.raises(BadInput):
                attach_evidence(access=self.access, **words)
            return
        (kept,) = attach_evidence(access=self.access, **words)
        self.on_file.add((kept.ref, content))

    @precondition(lambda self: self.on_file)
    @rule(place=st.integers(0, 20))
    def take_back(self, place: int) -> None:
        """A paper; when it was the last of its name, decisions lose that name."""
        ref, content = sorted(self.on_file)[place % len(self.on_file)]
        with self.access.opened():
            listed = rows.EvidencePaper.objects.filter(household=self.household_id, ref=ref)
            current = listed.current().select_related("content")
            (paper,) = [one for one in current if bytes(one.content.content) == content]
        withdraw_evidence(access=self.access, ref=REF, paper_id=paper.pk, reason="blurred")
        self.on_file.remove((ref, content))
        if ref not in {name for name, _ in self.on_file}:
            self.claims = {
                draw: tuple(
                    Split(
                        one.amount_cents,
                        one.use,
                        one.to,
                        one.of,
                        tuple(paper for paper in one.evidence if paper.ref != ref),
                    )
                    for one in splits
                )
                for draw, splits in self.claims.items()
            }

    @rule()
    def close(self) -> None:
        """Every month on file; the newest rows are what the dumped file evaluates to."""
        book.schedule(self.firm_id, *MONTHS[: self.known])
        self.run()
        assert self.run() == (), "closing what is closed does nothing"
        report = report_json(evaluate(household_from_json(self.dump(), "dump.json")))
        kept = {f"{one.month:%Y-%m}": one for one in self.current()}
        for told in report["months"]:
            stored = kept[told["month"]]
            assert (stored.state, stored.stale_reason) == ("done", "")
            assert stored.input_digest == told["digest"]
            assert stored.result["actual"] == told["actual"]
        last = kept[MONTHS[self.known - 1]].result
        assert (last["deductions"], last["drift"]) == (report["deductions"], report["drift"])

    def run(self) -> tuple[Any, ...]:
        """Close what waits."""
        return running.run_household(firm_id=self.firm_id, household_id=self.household_id)

    def current(self) -> list[rows.HouseholdMonth]:
        """The newest version of every month."""
        return [one for one in book.rows(self.firm_id) if one.state != "superseded"]

    # -- what always holds ------------------------------------------------------------------

    @invariant()
    def classes_add_up(self) -> None:
        """P1, P2: to the statement's balance, no part below zero."""
        value = self.value
        found = trace(value, last_day(MONTHS[self.known - 1])).lines["line"]
        assert sum(found.classes) == found.balance
        assert found.balance == value.statements_of("line")[-1].closing_cents
        assert min(*found.principal, *found.unpaid) >= 0
        assert sum(found.targets.values()) == found.principal[0]

    @invariant()
    def the_book_says_what_the_model_says(self) -> None:
        """Claims and papers in force."""
        assert {one.draw: one.splits for one in self.value.uses} == self.claims
        with self.access.opened():
            listed = rows.EvidencePaper.objects.filter(household=self.household_id).current()
            found = {
                (one.ref, bytes(one.content.content)) for one in listed.select_related("content")
            }
        assert found == self.on_file

    @invariant()
    def nothing_on_record_goes_or_changes(self) -> None:
        """P21: every decision, paper and closed row that was ever seen is there as it was."""
        with firm_scope(self.firm_id):
            now = {
                (model.__name__, one["id"]): one
                for model in (rows.DrawUse, rows.UseSplit, rows.EvidenceRef, rows.EvidencePaper)
                for one in model.objects.values()
            }
            now |= {
                ("month", one["id"]): one
                for one in rows.HouseholdMonth.objects.filter(result__isnull=False).values(
                    "id", "month", "version", "input_digest", "result_digest"
                )
            }
            assert list(broken_links(self.firm_id)) == []
        assert {key: now.get(key) for key in self.seen} == self.seen
        self.seen = now

    @invariant()
    def a_closed_month_has_the_digest_of_its_facts(self) -> None:
        """The same inputs give the same digest; others mark the month."""
        digests = Digests(self.value, DEFAULTS)
        for one in self.current():
            if one.state == "done" and not one.stale_reason:
                month = f"{one.month:%Y-%m}"
                assert one.input_digest == digests.of(month, last_day(month)), month
                assert one.engine == ENGINE


@pytest.mark.django_db
def test_any_order_of_acts_leaves_a_sound_book() -> None:
    run_state_machine_as_test(
        BookMachine,
        settings=settings(
            max_examples=12,
            stateful_step_count=14,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
