"""A second tracer, a night at a time and slow, to hold the real one against.

Written apart from ledger/core/tracing.py from the same rules: every night is
visited, every class is a dict, every posting a row. It gives the state at the
end of one date only.
"""

from __future__ import annotations

from collections import defaultdict
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import date, timedelta
from fractions import Fraction
from itertools import pairwise

from planning.core.money import prorate, round_half_up
from planning.core.types import Entry, Household, Split, Statement

CLASSES = ("eligible", "unsupported", "ineligible")


def shares(amount: int, weights: dict[str, Fraction | int]) -> dict[str, int]:
    """prorate over a dict of weights, in its order."""
    return dict(zip(weights, prorate(amount, list(weights.values())), strict=True))


@dataclass
class Posting:
    """Interest posted: what is unpaid of it by class, simple and compound apart."""

    on: date
    simple: dict[str, int]
    compound: dict[str, int]

    def owed(self, c: str) -> int:
        return self.simple[c] + self.compound[c]

    def total(self) -> int:
        return sum(self.owed(c) for c in CLASSES)


@dataclass
class LineState:
    """One line as it stands."""

    principal: dict[str, int] = field(default_factory=lambda: dict.fromkeys(CLASSES, 0))
    targets: dict[str, int] = field(default_factory=dict)
    postings: list[Posting] = field(default_factory=list)
    credit: int = 0
    weights: dict[str, Fraction] = field(
        default_factory=lambda: dict.fromkeys(CLASSES, Fraction(0))
    )
    compound: dict[str, Fraction] = field(
        default_factory=lambda: dict.fromkeys(CLASSES, Fraction(0))
    )
    plain: dict[str, list[int]] = field(default_factory=lambda: {c: [0, 0] for c in CLASSES})
    rate_missing: bool = False

    def held(self, c: str) -> int:
        return self.principal[c] + sum(one.owed(c) for one in self.postings)

    def balance(self) -> int:
        return sum(self.held(c) for c in CLASSES) - self.credit


@dataclass
class Result:
    """What the oracle says at the end."""

    lines: dict[str, LineState]
    paid: dict[int, dict[str, int]]
    posted: dict[int, int]
    compound_paid: dict[int, int]
    simple_posted: dict[int, dict[str, int]]
    moved: dict[str, int]
    own: dict[str, int]


class NaiveTracer:
    """Plays a household's facts in order."""

    def __init__(self, household: Household, as_of: date) -> None:
        self.h = household
        self.as_of = as_of
        self.lines = {one.ref: LineState() for one in household.lines}
        self.kinds = {one.ref: one.kind for one in household.investments}
        self.order = [
            *(one.ref for one in household.investments), "business", "rental", "interest"
        ]  # fmt: skip
        for state in self.lines.values():
            state.targets = dict.fromkeys(self.order, 0)
        self.uses = {one.draw: one.splits for one in household.uses}
        self.own = dict.fromkeys(self.kinds, 0)
        self.income_pool = dict.fromkeys(self.kinds, 0)
        self.capital_pool = dict.fromkeys(self.kinds, 0)
        self.paid: dict[int, dict[str, int]] = defaultdict(lambda: dict.fromkeys(CLASSES, 0))
        self.simple: dict[int, dict[str, int]] = defaultdict(lambda: dict.fromkeys(CLASSES, 0))
        self.posted: dict[int, int] = defaultdict(int)
        self.compound_paid: dict[int, int] = defaultdict(int)
        self.moved: dict[str, int] = {}
        self.supporting: set[str] = set()
        self.supported: set[tuple[str, int]] = set()

    # -- facts in order -------------------------------------------------------

    def facts(  # noqa: C901 - long on purpose
        self,
    ) -> list[tuple[date, int, int, int, str, Entry, Statement]]:
        found = []
        for index, line in enumerate(self.h.lines):
            sequence = 0
            before: Statement | None = None
            for s in self.h.statements_of(line.ref):
                rows: list[Entry] = []
                if before is None and s.opening_cents:
                    kind = "opening" if s.opening_cents > 0 else "adjustment"
                    rows.append(Entry(f"{line.ref}-opening", s.starts, kind, s.opening_cents))
                elif before is not None and s.opening_cents != before.closing_cents:
                    gap = s.opening_cents - before.closing_cents
                    rows.append(Entry(f"{line.ref}-gap-{s.starts}", s.starts, "adjustment", gap))
                rows += sorted(s.entries, key=lambda one: one.date)
                running = s.opening_cents + sum(
                    one.amount_cents * (-1 if one.kind == "repayment" else 1) for one in s.entries
                )
                if running != s.closing_cents and s.ends <= self.as_of:
                    rows.append(
                        Entry(f"{line.ref}-break-{s.ends}", s.ends, "adjustment",
                              s.closing_cents - running)
                    )  # fmt: skip
                for entry in rows:
                    sequence += 1
                    found.append((entry.date, 0, index, sequence, line.ref, entry, s))
                before = s
        for index, account in enumerate(self.h.investments):
            sequence = 0
            for s in self.h.statements_of(account.ref):
                for entry in sorted(s.entries, key=lambda one: one.date):
                    sequence += 1
                    found.append((entry.date, 1, index, sequence, account.ref, entry, s))
        found = sorted((one for one in found if one[0] <= self.as_of), key=lambda one: one[:4])
        # A repayment waits for same-day draws of other lines that pay its line off.
        for place in range(len(found) - 1, -1, -1):
            fact = found[place]
            if fact[1] == 0 and fact[5].kind == "repayment":
                later = [
                    k
                    for k in range(place + 1, len(found))
                    if found[k][0] == fact[0]
                    and found[k][4] != fact[4]
                    and any(
                        one.use in ("line-interest", "refinance") and one.to == fact[4]
                        for one in self.uses.get(found[k][5].id, ())
                    )
                ]
                if later:
                    found.insert(later[-1] + 1, fact)
                    del found[place]
        return found

    def match(self, facts: list[tuple[date, int, int, int, str, Entry, Statement]]) -> None:
        """Give each income-investment split the contribution that supports it."""
        contributions = [(f[4], f[5]) for f in facts if f[5].kind == "contribution"]
        for fact in facts:
            entry = fact[5]
            if fact[1] != 0 or entry.kind not in ("draw", "fee", "adjustment"):
                continue
            for number, split in enumerate(self.uses.get(entry.id, ())):
                if (
                    split.use != "income-investment"
                    or self.kinds.get(split.to or "") != "non-registered"
                ):
                    continue
                fits = [
                    one
                    for account, one in contributions
                    if account == split.to
                    and one.id not in self.supporting
                    and one.amount_cents == split.amount_cents
                    and 0 <= (one.date - entry.date).days <= 5
                    and one.source in (None, entry.id)
                ]
                fits.sort(key=lambda one: (one.source is None, one.date))
                if fits:
                    self.supporting.add(fits[0].id)
                    self.supported.add((entry.id, number))

    def run(self) -> Result:
        facts = self.facts()
        self.match(facts)
        first: dict[str, Statement] = {}
        for account in self.kinds:
            statements = self.h.statements_of(account)
            if statements:
                first[account] = statements[0]
                self.own[account] = statements[0].opening_cents
        starts = [self.h.statements_of(one)[0].starts for one in self.lines
                  if self.h.statements_of(one)]  # fmt: skip
        day = min([one[0] for one in facts] + starts, default=self.as_of)
        at = 0
        while day <= self.as_of:
            while at < len(facts) and facts[at][0] == day:
                _, kind, _, _, ref, entry, statement = facts[at]
                if kind == 0:
                    self.line_fact(ref, entry)
                elif self.kinds[ref] == "non-registered":
                    self.account_fact(ref, entry, statement)
                at += 1
            for ref in self.lines:
                self.night(ref, day)
            day += timedelta(days=1)
        return Result(self.lines, self.paid, self.posted, self.compound_paid, self.simple,
                      self.moved, self.own)  # fmt: skip

    # -- nights ------------------------------------------------------------------

    def night(self, ref: str, day: date) -> None:
        state = self.lines[ref]
        statements = self.h.statements_of(ref)
        covering = [s for s in statements if s.starts <= day <= s.ends]
        if not statements or day < statements[0].starts:
            return
        for before, after in pairwise(statements):
            if day == after.starts and (after.starts - before.ends).days > 1:
                state.weights = dict.fromkeys(CLASSES, Fraction(0))
                state.compound = dict.fromkeys(CLASSES, Fraction(0))
                state.plain = {c: [0, 0] for c in CLASSES}
                state.rate_missing = False
        if not covering:
            return
        rate = next((r for when, r in reversed(covering[0].rates) if when <= day), None)
        if rate is None:
            line = next(one for one in self.h.lines if one.ref == ref)
            prime = next((r for when, r in reversed(self.h.prime) if when <= day), None)
            rate = None if prime is None else prime + line.spread
        for c in CLASSES:
            interest = sum(one.owed(c) for one in state.postings)
            state.plain[c][0] += state.held(c)
            state.plain[c][1] += interest
            if rate is None:
                state.rate_missing = True
            else:
                state.weights[c] += Fraction(rate) * state.held(c)
                state.compound[c] += Fraction(rate) * interest

    # -- the line -------------------------------------------------------------------

    def line_fact(self, ref: str, entry: Entry) -> None:
        if entry.kind in ("repayment",) or entry.amount_cents < 0:
            self.repay(ref, abs(entry.amount_cents), entry.date)
        elif entry.kind == "interest":
            self.post(ref, entry)
        else:
            self.draw(ref, entry)

    def draw(self, ref: str, entry: Entry) -> None:
        state = self.lines[ref]
        splits = list(self.uses.get(entry.id, ()))
        if not splits and entry.kind == "fee":
            splits = [Split(entry.amount_cents, "personal", None, None, ())]
        named = [one.amount_cents for one in splits]
        named.append(entry.amount_cents - sum(named))
        from_credit = min(state.credit, entry.amount_cents)
        state.credit -= from_credit
        if from_credit:
            named = list(prorate(entry.amount_cents - from_credit, named))
        self.fresh = deepcopy(self.lines)
        for number, (split, cents) in enumerate(zip(splits, named, strict=False)):
            self.use(ref, entry, number, split, cents)
        state.principal["unsupported"] += named[-1]

    def use(self, ref: str, entry: Entry, number: int, split: Split, cents: int) -> None:
        state = self.lines[ref]
        paper = any(one.on is None or one.on <= self.as_of for one in split.evidence)
        backed = paper or (entry.id, number) in self.supported
        to_kind = self.kinds.get(split.to or "")
        if split.use == "registered-plan" or (to_kind and to_kind != "non-registered"):
            state.principal["ineligible"] += cents
        elif split.use == "income-investment":
            self.add(state, "eligible" if backed else "unsupported", cents, split.to or "")
            if backed and entry.kind == "opening":
                self.own[split.to or ""] = max(0, self.own[split.to or ""] - cents)
        elif split.use in ("business-expense", "rental-expense"):
            target = split.use.split("-")[0]
            self.add(state, "eligible" if paper else "unsupported", cents, target)
        elif split.use == "line-interest":
            owing = self.fresh[split.to or ref]
            left = cents
            for posting in owing.postings:
                part = min(left, posting.total())
                left -= part
                for c, one in shares(part, {c: posting.owed(c) for c in CLASSES}).items():
                    self.add(state, c, one, "interest")
            state.principal["unsupported"] += left
        elif split.use == "refinance":
            self.refinance(state, split, cents)
        else:
            state.principal["ineligible"] += cents

    def refinance(self, state: LineState, split: Split, cents: int) -> None:
        """What the old line owed by class just before (`fresh` holds every line then)."""
        old = self.fresh[split.to or ""]
        owed = {c: old.principal[c] for c in CLASSES if split.of in (None, c)}
        part = min(cents, sum(owed.values()))
        taken = shares(part, owed) if part else {}
        for c, one in taken.items():
            if c != "eligible":
                state.principal[c] += one
        eligible = taken.get("eligible", 0)
        if eligible:
            for target, one in shares(eligible, dict(old.targets)).items():
                self.add(state, "eligible", one, target)
        state.principal["unsupported"] += cents - part

    @staticmethod
    def add(state: LineState, c: str, cents: int, target: str) -> None:
        state.principal[c] += cents
        if c == "eligible":
            state.targets[target] += cents

    def post(self, ref: str, entry: Entry) -> None:
        state = self.lines[ref]
        whole = {c: state.weights[c] for c in CLASSES}
        inner = {c: state.compound[c] for c in CLASSES}
        if state.rate_missing:
            whole = {c: Fraction(state.plain[c][0]) for c in CLASSES}
            inner = {c: Fraction(state.plain[c][1]) for c in CLASSES}
        from_credit = min(state.credit, entry.amount_cents)
        state.credit -= from_credit
        parts = shares(entry.amount_cents - from_credit, whole)
        compound = {
            c: round_half_up(parts[c] * inner[c] / whole[c]) if whole[c] else 0 for c in CLASSES
        }
        posting = Posting(entry.date, {c: parts[c] - compound[c] for c in CLASSES}, dict(compound))
        self.posted[entry.date.year] += entry.amount_cents
        for c in CLASSES:
            self.simple[entry.date.year][c] += posting.simple[c]
        state.weights = dict.fromkeys(CLASSES, Fraction(0))
        state.compound = dict.fromkeys(CLASSES, Fraction(0))
        state.plain = {c: [0, 0] for c in CLASSES}
        state.rate_missing = False
        if self.h.facility.capitalised_interest == "paid-by-advance":
            self.compound_paid[entry.date.year] += compound["eligible"]
            for c in CLASSES:
                self.add(state, c, parts[c], "interest")
                self.paid[entry.date.year][c] += parts[c]
            return
        state.postings.append(posting)

    def repay(self, ref: str, cents: int, on: date) -> None:
        state = self.lines[ref]
        left = cents
        for posting in state.postings:
            part = min(left, posting.total())
            left -= part
            for c, one in shares(part, {c: posting.owed(c) for c in CLASSES}).items():
                simple = min(one, posting.simple[c])
                posting.simple[c] -= simple
                posting.compound[c] -= one - simple
                self.paid[on.year][c] += one
                if c == "eligible":
                    self.compound_paid[on.year] += one - simple
        principal = min(left, sum(state.principal.values()))
        for c, one in shares(principal, dict(state.principal)).items():
            state.principal[c] -= one
            if c == "eligible":
                self.reduce(state, one)
        state.credit += left - principal

    @staticmethod
    def reduce(state: LineState, cents: int) -> None:
        for target, part in shares(cents, dict(state.targets)).items():
            state.targets[target] -= part

    # -- the accounts -------------------------------------------------------------

    def linked(self, account: str) -> int:
        return sum(one.targets[account] for one in self.lines.values())

    def move(self, account: str, cents: int, entry: Entry, to: str | None) -> None:
        """Take linked principal away from an account, to ineligible or to another account."""
        parts = shares(cents, {ref: one.targets[account] for ref, one in self.lines.items()})
        for ref, part in parts.items():
            state = self.lines[ref]
            state.targets[account] -= part
            if to is not None:
                state.targets[to] += part
                continue
            state.principal["eligible"] -= part
            state.principal["ineligible"] += part
        if to is None and cents:
            self.moved[entry.id] = self.moved.get(entry.id, 0) + cents

    def account_fact(self, account: str, entry: Entry, statement: Statement) -> None:
        amount = entry.amount_cents
        if entry.kind == "contribution":
            if entry.source == "own" or (entry.source is None and entry.id not in self.supporting):
                self.own[account] += amount
        elif entry.kind == "distribution":
            if entry.paid == "reinvested":
                self.own[account] += amount if entry.of != "return_of_capital" else 0
            elif entry.of == "return_of_capital":
                self.capital_pool[account] += amount
            else:
                self.income_pool[account] += amount
        elif entry.kind == "withdrawal":
            self.withdraw(account, entry, statement)
        elif entry.kind == "transfer-in-kind":
            f = self.fraction(account, entry, amount, statement)
            moved, own = (
                round_half_up(self.linked(account) * f),
                round_half_up(self.own[account] * f),
            )
            self.own[account] -= own
            if self.kinds[entry.to or ""] == "non-registered":
                self.own[entry.to or ""] += own
                self.move(account, moved, entry, entry.to)
            else:
                self.move(account, moved, entry, None)

    def fraction(self, account: str, entry: Entry, cents: int, own: Statement) -> Fraction:
        if entry.cost_fraction is not None:
            return Fraction(entry.cost_fraction)
        value = own.opening_cents
        for s in self.h.statements_of(account):
            if s.ends < entry.date:
                value = s.closing_cents if s.value_cents is None else s.value_cents
        return min(Fraction(1), Fraction(cents, value)) if value else Fraction(1)

    def withdraw(self, account: str, entry: Entry, statement: Statement) -> None:
        amount = entry.amount_cents
        self.before = (self.linked(account), self.own[account])
        if entry.of == "income":
            self.income_pool[account] = max(0, self.income_pool[account] - amount)
        elif entry.of == "return_of_capital":
            self.capital_pool[account] = max(0, self.capital_pool[account] - amount)
            self.capital_out(account, entry, amount)
        elif entry.of == "proceeds":
            self.proceeds_out(account, entry, amount, entry.proceeds_cents or amount, statement)
        else:
            income = min(amount, self.income_pool[account])
            self.income_pool[account] -= income
            capital = min(amount - income, self.capital_pool[account])
            self.capital_pool[account] -= capital
            if capital:
                self.capital_out(account, entry, capital)
            rest = amount - income - capital
            if rest:
                self.proceeds_out(account, entry, rest, entry.proceeds_cents or rest, statement)

    def destination(self, entry: Entry) -> tuple[bool, str | None]:
        """Whether linked principal moves, and the account it moves to (None: ineligible)."""
        if entry.to == "line":
            return False, None
        if self.kinds.get(entry.to or "") == "non-registered":
            return True, entry.to
        return True, None

    def capital_out(self, account: str, entry: Entry, cents: int) -> None:
        linked, own = self.before
        share = Fraction(linked, linked + own) if linked + own else Fraction(0)
        moved = min(linked, round_half_up(share * cents))
        leaves, to = self.destination(entry)
        own_part = min(self.own[account], cents - moved)
        self.own[account] -= own_part
        if leaves:
            self.move(account, moved, entry, to)
        if to is not None:
            self.own[to] += own_part

    def proceeds_out(
        self, account: str, entry: Entry, w: int, s: int, statement: Statement
    ) -> None:
        f = self.fraction(account, entry, w, statement)
        linked, own = self.before
        d = round_half_up(linked * f)
        if s >= d:
            moved = max(0, d - (s - w))
        elif f == 1 and w == s and self.kinds.get(entry.to or "") != "non-registered":
            moved = w
        else:
            moved = round_half_up(Fraction(d * w, s))
        own_part = min(self.own[account], round_half_up(own * f * Fraction(w, s)))
        self.own[account] -= own_part
        leaves, to = self.destination(entry)
        if leaves:
            self.move(account, min(moved, self.linked(account)), entry, to)
        if to is not None:
            self.own[to] += own_part
