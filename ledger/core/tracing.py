"""Follow every dollar of a line to its current use, by replaying the facts in order.

The current, direct use decides (Bronfman Trust v. The Queen, [1987] 1 SCR 32;
Shell Canada v. Canada, [1999] 3 SCR 622). A later decision or paper restates
from the draw's date: nothing is patched, the facts are replayed.

`Tracer` keeps its state between calls, so that tracing month after month costs
one pass; when a paper or a purchase learned later changes what was known of an
earlier draw it starts over. Either way the answer is the full replay's.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from ledger.core.account_state import AccountState, capital_outflow, proceeds_outflow
from ledger.core.facts import Fact, household_facts
from ledger.core.line_state import LineState, NightRates, rounded_share, shared
from ledger.core.support import Support, support
from ledger.core.trace_types import (
    NONE,
    Classes,
    DrawTrace,
    IncomeOverstated,
    InterestPayment,
    Leak,
    LeakRule,
    LineTrace,
    PrincipalRepaid,
    SplitTrace,
    Trace,
    TraceRow,
    add,
    less,
)
from planning.core.money import prorate
from planning.core.types import Entry, Household, Split

FIXED_TARGETS = ("business", "rental", "interest")
_EVIDENCED = {"business-expense": "business", "rental-expense": "rental"}


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
        self.run: _Replay | None = None
        self.until: date | None = None
        self.known: Support | None = None

    def at(self, as_of: date) -> Trace:
        """The trace at the end of a date; cheap when dates rise from call to call."""
        known = support(self.household, self.facts, as_of)
        run, until, before = self.run, self.until, self.known
        if (
            run is None
            or until is None
            or before is None
            or as_of < until
            or known.until(until, self.dates) != before.until(until, self.dates)
        ):
            run = _Replay(self.household, self.facts)
        run.support = known
        run.advance(as_of)
        self.run, self.until, self.known = run, as_of, known
        return run.result(as_of)


@dataclass(frozen=True, slots=True)
class _Classed:
    """A split as it was classed: its classes, targets, and what is inherited."""

    split: SplitTrace
    targets: Mapping[str, int]
    inherited: Classes
    registered: int


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
        self.rows: dict[str, list[TraceRow]] = {ref: [] for ref in self.lines}
        self.draws: list[DrawTrace] = []
        self.payments: list[InterestPayment] = []
        self.repaid: list[PrincipalRepaid] = []
        self.leaks: list[Leak] = []
        self.overstated: list[IncomeOverstated] = []

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
            overstated=tuple(self.overstated),
            linked={ref: self._linked(ref) for ref in self.accounts},
            own={ref: one.own for ref, one in self.accounts.items()},
        )

    # -- lines ------------------------------------------------------------------

    def _line_fact(self, fact: Fact) -> None:
        state, entry = self.lines[fact.account], fact.entry
        state.roll(fact.on)
        before = state.held()
        if entry.kind == "repayment" or fact.amount < 0:
            payments, taken = state.repay(entry.id, fact.on, abs(fact.amount))
            self.payments += payments
            if any(taken):
                self.repaid.append(PrincipalRepaid(entry.id, fact.on, fact.account, taken))
        elif entry.kind == "interest":
            self._post(state, entry)
        else:
            self._draw(state, fact)
        change = less(state.held(), before)
        row = TraceRow(entry.id, fact.on, entry.kind, abs(fact.amount), change, state.balance())
        self.rows[fact.account].append(row)
        self._assert_tied(fact, state)

    @staticmethod
    def _assert_tied(fact: Fact, state: LineState) -> None:
        """After a statement's last entry the classes tie to its closing balance."""
        ended = fact.entry.id.endswith(f"-break-{fact.statement.ends}")
        assert not ended or state.balance() == fact.statement.closing_cents

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
        if not splits and entry.kind == "fee":
            splits = (Split(entry.amount_cents, "personal", None, None, ()),)
        cents = [one.amount_cents for one in splits]
        cents.append(entry.amount_cents - sum(cents))
        rest = state.take_credit(entry.amount_cents)
        if rest != entry.amount_cents:
            cents = list(prorate(rest, cents))
        classed = [
            self._class(state.ref, entry, number, replace(split, amount_cents=part))
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

    def _class(self, line: str, entry: Entry, number: int, split: Split) -> _Classed:
        """The class of one split, `amount_cents` being what is left of it to class."""
        cents = split.amount_cents
        paper = self.support.by_split.get((entry.id, number))
        kind = self.kinds.get(split.to or "")
        if split.use == "registered-plan" or kind not in (None, "non-registered"):
            return _classed(split, (0, 0, cents), registered=cents)
        if split.use == "line-interest":
            found = self.lines[split.to or line].interest_classes(cents)
            over = cents - sum(found)
            classes = add(found, (0, over, 0))
            return _classed(split, classes, {"interest": found[0]}, inherited=found)
        if split.use == "refinance":
            return self._refinance(split)
        if split.use == "income-investment":
            eligible, target = paper is not None, split.to or ""
        elif split.use in _EVIDENCED:
            eligible, target = paper is not None, _EVIDENCED[split.use]
        else:
            return _classed(split, (0, 0, cents), paper=paper)
        if not eligible:
            return _classed(split, (0, cents, 0))
        return _classed(split, (cents, 0, 0), {target: cents}, paper=paper)

    def _refinance(self, split: Split) -> _Classed:
        """Money borrowed to repay an earlier debt keeps its use (ITA 20(3))."""
        old = self.lines[split.to or ""]
        cents = split.amount_cents
        if split.of is None:
            part = min(cents, sum(old.principal))
            found = shared(part, old.principal) if part else NONE
        else:
            index = ("eligible", "unsupported", "ineligible").index(split.of)
            part = min(cents, old.principal[index])
            found = (part * (index == 0), part * (index == 1), part * (index == 2))
        parts = prorate(found[0], list(old.targets.values())) if found[0] else []
        targets = dict(zip(old.targets, parts, strict=False))
        classes = add(found, (0, cents - sum(found), 0))
        return _classed(split, classes, targets, inherited=found)

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
        amount = entry.amount_cents
        income = capital = proceeds = 0
        if entry.of == "income":
            income = amount
            excess = amount - account.income_pool
            if excess > 0:
                self.overstated.append(IncomeOverstated(entry.id, fact.on, excess))
        elif entry.of == "return_of_capital":
            capital = amount
        elif entry.of == "proceeds":
            proceeds = amount
        else:
            income = min(amount, account.income_pool)
            capital = min(amount - income, account.capital_pool)
            proceeds = amount - income - capital
        account.income_pool = max(0, account.income_pool - income)
        account.capital_pool = max(0, account.capital_pool - capital)
        if capital:
            out = capital_outflow(self._linked(account.ref), account.own, capital)
            self._leave(account, fact, out.moved, out.own, "capital")
        if proceeds:
            whole = entry.proceeds_cents if entry.proceeds_cents is not None else proceeds
            fraction = account.cost_fraction(entry, proceeds, fact.statement)
            out = proceeds_outflow(
                self._linked(account.ref), account.own, proceeds, max(whole, proceeds), fraction
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
        if not moved or not sum(weights):
            return
        parts = prorate(moved, weights)
        by_line: list[tuple[str, int]] = []
        for state, part in zip(self.lines.values(), parts, strict=True):
            state.roll(fact.on)
            if not part:
                continue
            state.move(account.ref, part, to if kept else None)
            by_line.append((state.ref, part))
            if not kept:
                row = TraceRow(
                    fact.entry.id, fact.on, "reclass", part, (-part, 0, part), state.balance()
                )
                self.rows[state.ref].append(row)
        if not kept:
            self.leaks.append(
                Leak(fact.entry.id, fact.on, account.ref, rule, moved, tuple(by_line))
            )


def _classed(
    split: Split,
    classes: Classes,
    targets: Mapping[str, int] | None = None,
    *,
    inherited: Classes = NONE,
    registered: int = 0,
    paper: str | None = None,
) -> _Classed:
    shown = SplitTrace(split.use, split.to, split.amount_cents, classes, paper)
    kept = {target: cents for target, cents in (targets or {}).items() if cents}
    return _Classed(shown, kept, inherited, registered)
