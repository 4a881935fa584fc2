"""Follow every dollar of a line to its current use, by replaying the facts in order.

The current, direct use decides (Bronfman Trust v. The Queen, [1987] 1 SCR 32;
Shell Canada v. Canada, [1999] 3 SCR 622). A later decision or paper restates
from the draw's date: nothing is patched, the facts are replayed.

`Tracer` keeps a few checkpoints, so that tracing month after month costs about
one pass. When a paper or a purchase learned later changes what was known of an
earlier draw it goes back to the last checkpoint before that, or to the start.
Either way the answer is the full replay's.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, replace
from datetime import date, timedelta

from ledger.core.account_state import AccountState, capital_outflow, proceeds_outflow
from ledger.core.facts import Fact, household_facts
from ledger.core.line_state import LineState, NightRates, rounded_share
from ledger.core.split_classes import class_of_split
from ledger.core.support import SUPPORT_DAYS, Support, support
from ledger.core.trace_types import (
    NONE,
    DrawTrace,
    IncomeOverstated,
    InterestPayment,
    Leak,
    LeakRule,
    LineTrace,
    PrincipalRepaid,
    Relink,
    Trace,
    TraceRow,
    add,
    less,
)
from planning.core.money import prorate
from planning.core.types import Entry, Household, Split

FIXED_TARGETS = ("business", "rental", "interest")
CHECKPOINTS = 4


def trace(household: Household, as_of: date) -> Trace:
    """Trace a household's lines from their first statement to the end of `as_of`.

    Facts dated later are not seen; undated evidence is always known. The file
    must have passed `facts_problems`.
    """
    return Tracer(household).at(as_of)


class Tracer:
    """Traces of one household at one date after another."""

    def __init__(self, household: Household) -> None:
        self.household = household
        self.facts = household_facts(household)
        self.dates = {fact.entry.id: fact.on for fact in self.facts}
        self._kept: list[_Checkpoint] = []

    def at(self, as_of: date) -> Trace:
        """The trace at the end of a date; cheap when dates rise from call to call."""
        known = support(self.household, self.facts, as_of)
        run = self._resumed(known, as_of)
        run.support = known
        # Purchases of the next days may still support the latest draws; before
        # them everything is settled, and the next call can go on from there.
        for day in (as_of - timedelta(days=SUPPORT_DAYS + 1), as_of):
            if not self._kept or self._kept[-1].until < day:
                run.advance(day)
                self._kept = [*self._kept[1 - CHECKPOINTS :], _Checkpoint(day, known, run.copy())]
        return run.result(as_of)

    def _resumed(self, known: Support, as_of: date) -> _Replay:
        """A replay up to the latest checkpoint at which the same was known of every draw."""
        while self._kept:
            last = self._kept[-1]
            if last.until <= as_of and known.until(last.until, self.dates) == last.known.until(
                last.until, self.dates
            ):
                return last.run.copy()
            self._kept.pop()
        return _Replay(self.household, self.facts)


@dataclass(frozen=True, slots=True)
class _Checkpoint:
    """The accounts at the end of `until`, and what was known then."""

    until: date
    known: Support
    run: _Replay


class _Replay:
    """The accounts as they stand after the facts played so far."""

    def __init__(self, household: Household, facts: tuple[Fact, ...]) -> None:
        self.household = household
        self.facts = facts
        self.next = 0
        self.support = Support({}, {})
        self.kinds = {one.ref: one.kind for one in household.investments}
        self.uses = {one.draw: one.splits for one in household.uses}
        self.by_advance = household.facility.capitalised_interest == "paid-by-advance"
        targets = [*self.kinds, *FIXED_TARGETS]
        self.lines: dict[str, LineState] = {}
        for line in household.lines:
            rates = NightRates.of(household, line)
            state = LineState(line.ref, line.day_basis, rates, targets)
            statements = household.statements_of(line.ref)
            state.at = statements[0].starts if statements else None
            self.lines[line.ref] = state
        self.accounts: dict[str, AccountState] = {}
        for one in household.investments:
            statements = household.statements_of(one.ref)
            opening = statements[0].opening_cents if statements else 0
            self.accounts[one.ref] = AccountState(one.ref, statements, own=opening)
        self.book = dict.fromkeys(self.lines, 0)
        self.rows: dict[str, list[TraceRow]] = {ref: [] for ref in self.lines}
        self.draws: list[DrawTrace] = []
        self.payments: list[InterestPayment] = []
        self.repaid: list[PrincipalRepaid] = []
        self.leaks: list[Leak] = []
        self.relinks: list[Relink] = []
        self.overstated: list[IncomeOverstated] = []

    def copy(self) -> _Replay:
        """An independent copy; what is frozen is shared."""
        other = copy(self)
        other.lines = {ref: one.copy() for ref, one in self.lines.items()}
        other.accounts = {ref: replace(one) for ref, one in self.accounts.items()}
        other.book = dict(self.book)
        other.rows = {ref: list(one) for ref, one in self.rows.items()}
        other.draws = list(self.draws)
        other.payments = list(self.payments)
        other.repaid = list(self.repaid)
        other.leaks = list(self.leaks)
        other.relinks = list(self.relinks)
        other.overstated = list(self.overstated)
        return other

    def advance(self, as_of: date) -> None:
        """Play the facts dated up to `as_of`."""
        while self.next < len(self.facts) and self.facts[self.next].on <= as_of:
            fact = self.facts[self.next]
            self.next += 1
            if fact.of_line:
                self._line_fact(fact)
            elif self.kinds[fact.account] == "non-registered":
                self._account_fact(fact)

    def result(self, as_of: date) -> Trace:
        """What stands at the end of `as_of`."""
        self._assert_statements_tie(as_of)
        lines = {}
        for ref, state in self.lines.items():
            lines[ref] = LineTrace(
                ref=ref,
                balance=state.balance(),
                principal=state.principal,
                unpaid=state.unpaid(),
                targets=dict(state.targets),
                rows=tuple(self.rows[ref]),
                postings=tuple(one.shown(ref) for one in state.postings),
            )
        return Trace(
            as_of=as_of,
            lines=lines,
            draws=tuple(self.draws),
            payments=tuple(self.payments),
            repaid=tuple(self.repaid),
            leaks=tuple(self.leaks),
            relinks=tuple(self.relinks),
            overstated=tuple(self.overstated),
            linked={ref: self._linked(ref) for ref in self.accounts},
            own={ref: one.own for ref, one in self.accounts.items()},
        )

    # -- lines ------------------------------------------------------------------

    def _line_fact(self, fact: Fact) -> None:
        state, entry = self.lines[fact.account], fact.entry
        state.roll(fact.on)
        held, principal, targets = state.held(), state.principal, dict(state.targets)
        lowers = entry.kind == "repayment" or fact.amount < 0
        if lowers:
            payments, taken = state.repay(entry.id, fact.on, abs(fact.amount))
            self.payments += payments
            if any(taken):
                self.repaid.append(PrincipalRepaid(entry.id, fact.on, fact.account, taken))
        elif entry.kind == "interest":
            self._post(state, entry)
        else:
            self._draw(state, fact)
        self.book[fact.account] += -abs(fact.amount) if lowers else fact.amount
        assert state.balance() == self.book[fact.account], "the classes left the statement"
        self.rows[fact.account].append(
            TraceRow(
                id=entry.id,
                on=fact.on,
                kind=entry.kind,
                amount=abs(fact.amount),
                change=less(state.held(), held),
                balance=state.balance(),
                principal=less(state.principal, principal),
                targets=_changed(targets, state.targets),
            )
        )

    def _assert_statements_tie(self, as_of: date) -> None:
        """A line whose statement has just ended stands at its closing balance."""
        for ref, state in self.lines.items():
            seen = [one for one in self.household.statements_of(ref) if one.starts <= as_of]
            if seen and seen[-1].ends <= as_of:
                assert state.balance() == seen[-1].closing_cents, "the statement does not tie"

    def _post(self, state: LineState, entry: Entry) -> None:
        posting = state.post(entry.id, entry.date, entry.amount_cents, by_advance=self.by_advance)
        if self.by_advance and any(posting.classes):
            self.payments.append(
                InterestPayment(
                    entry.id,
                    entry.date,
                    state.ref,
                    entry.id,
                    entry.date,
                    posting.classes,
                    posting.compound,
                )
            )

    def _draw(self, state: LineState, fact: Fact) -> None:
        """A draw, fee, opening or positive adjustment: split by use and classed."""
        entry = fact.entry
        splits = self.uses.get(entry.id, ())
        if entry.kind == "fee" and entry.id not in self.uses:
            splits = (Split(entry.amount_cents, "personal", None, None, ()),)
        cents = [one.amount_cents for one in splits]
        cents.append(entry.amount_cents - sum(cents))
        rest = state.take_credit(entry.amount_cents)
        if rest != entry.amount_cents:
            cents = list(prorate(rest, cents))
        classed = [
            class_of_split(
                replace(split, amount_cents=part),
                state.ref,
                self.support.by_split.get((entry.id, number)),
                kinds=self.kinds,
                lines=self.lines,
            )
            for number, (split, part) in enumerate(zip(splits, cents, strict=False))
        ]
        classes, inherited, registered = (0, cents[-1], 0), NONE, 0
        targets: dict[str, int] = {}
        for one in classed:
            classes = add(classes, one.split.classes)
            inherited = add(inherited, one.inherited)
            registered += one.registered
            for target, part in one.targets.items():
                targets[target] = targets.get(target, 0) + part
        state.put(classes, targets)
        if entry.kind == "opening":
            # What the opening debt bought is already in the account's first opening.
            for target, part in targets.items():
                if target in self.accounts:
                    self.accounts[target].take_own(part)
        self.draws.append(
            DrawTrace(
                id=entry.id,
                on=fact.on,
                line=state.ref,
                kind=entry.kind,
                amount=entry.amount_cents,
                classes=classes,
                personal=classes[2] - inherited[2] - registered,
                registered=registered,
                without_paper=classes[1] - inherited[1],
                splits=tuple(one.split for one in classed),
            )
        )

    # -- accounts -----------------------------------------------------------------

    def _linked(self, account: str) -> int:
        """L_a: eligible principal of all lines linked to an account."""
        return sum(one.targets.get(account, 0) for one in self.lines.values())

    def _account_fact(self, fact: Fact) -> None:
        account, entry = self.accounts[fact.account], fact.entry
        if entry.kind == "contribution":
            unnamed = entry.source is None and entry.id not in self.support.used
            if entry.source == "own" or unnamed:
                account.own += entry.amount_cents
        elif entry.kind == "distribution":
            account.receive(entry)
        elif entry.kind == "withdrawal":
            self._withdraw(account, fact)
        elif entry.kind == "transfer-in-kind":
            fraction = account.cost_fraction(entry, entry.amount_cents, fact.statement)
            moved = rounded_share(self._linked(account.ref), fraction)
            own = rounded_share(account.own, fraction)
            self._leave(account, fact, moved, own, "registered")

    def _withdraw(self, account: AccountState, fact: Fact) -> None:
        entry = fact.entry
        excess = entry.amount_cents - account.income_pool
        if entry.of == "income" and excess > 0:
            self.overstated.append(IncomeOverstated(entry.id, fact.on, excess))
        capital, proceeds = account.pay_out(entry)
        # Both parts are measured on what stood just before the entry.
        linked, own = self._linked(account.ref), account.own
        if capital:
            out = capital_outflow(linked, own, capital)
            self._leave(account, fact, out.moved, out.own, "capital")
        if proceeds:
            whole = entry.proceeds_cents if entry.proceeds_cents is not None else proceeds
            fraction = account.cost_fraction(entry, proceeds, fact.statement)
            out = proceeds_outflow(
                linked,
                own,
                proceeds,
                max(whole, proceeds),
                fraction,
                reinvested=self.kinds.get(entry.to or "") == "non-registered",
            )
            self._leave(account, fact, out.moved, out.own, "proceeds")

    def _leave(
        self, account: AccountState, fact: Fact, moved: int, own: int, rule: LeakRule
    ) -> None:
        """Linked principal and own money leave an account for where the entry says."""
        to = fact.entry.to or ""
        own = account.take_own(own)
        if to == "line":
            # The repayment entry lowers the principal; the withdrawal itself moves nothing.
            return
        kept = self.kinds.get(to) == "non-registered"
        if kept:
            self.accounts[to].own += own
        weights = [one.targets.get(account.ref, 0) for one in self.lines.values()]
        moved = min(moved, sum(weights))
        if not moved:
            return
        parts = prorate(moved, weights)
        by_line: list[tuple[str, int]] = []
        for state, part in zip(self.lines.values(), parts, strict=True):
            state.roll(fact.on)
            if not part:
                continue
            state.move(account.ref, part, to if kept else None)
            by_line.append((state.ref, part))
            entry_id, change = fact.entry.id, (-part, 0, part)
            if kept:
                self.relinks.append(Relink(entry_id, fact.on, state.ref, account.ref, to, part))
                continue
            self.rows[state.ref].append(
                TraceRow(
                    entry_id,
                    fact.on,
                    "reclass",
                    part,
                    change,
                    state.balance(),
                    change,
                    ((account.ref, -part),),
                )
            )
        if not kept:
            self.leaks.append(
                Leak(fact.entry.id, fact.on, account.ref, rule, moved, tuple(by_line))
            )


def _changed(before: Mapping[str, int], after: Mapping[str, int]) -> tuple[tuple[str, int], ...]:
    """What changed, target by target, signed."""
    return tuple((ref, cents - before[ref]) for ref, cents in after.items() if cents != before[ref])
