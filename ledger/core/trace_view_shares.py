"""Which draw every dollar of eligible principal and of its interest comes from.

A trace keeps eligible principal by target. Here each target is taken apart
further, into the draws that put it there, so that a dollar of a year's
deduction can be walked back to one draw. It is an account of the trace, never
another one: every row's change, every posting and every payment is shared out
over the draws so that the parts add up to it, which is asserted.

How it is shared: a reduction of a target over the draws in it, in proportion;
simple interest by each draw's principal, night by night at the rate in force;
interest on interest by whose interest was unpaid; a payment by what is unpaid.
Nothing marks a dollar inside one debt (CRA folio S3-F6-C1, 1.43), so no other
sharing has a better claim; it changes no amount that is deducted.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from ledger.core.facts import household_facts
from ledger.core.line_state import NightRates
from ledger.core.trace_types import InterestPayment, PostingTrace, Relink, Trace, TraceRow
from planning.core.money import prorate
from planning.core.types import Household, Line

Source = tuple[str, str]
"""A draw's entry id, and the target its principal stands in."""
Amounts = dict[Source, int]


@dataclass(frozen=True, slots=True)
class Share:
    """One draw's part of eligible interest, in cents, simple and compound apart."""

    draw: str
    target: str
    simple: int
    compound: int

    @property
    def cents(self) -> int:
        """Simple and compound together."""
        return self.simple + self.compound


@dataclass(frozen=True, slots=True)
class PostingShares:
    """The eligible part of a posting by draw; the shares add up to it."""

    posting: PostingTrace
    shares: tuple[Share, ...]


@dataclass(frozen=True, slots=True)
class PaymentShares:
    """The eligible part of interest paid by draw; the shares add up to it."""

    payment: InterestPayment
    shares: tuple[Share, ...]


@dataclass(frozen=True, slots=True)
class Move:
    """What one entry did to one draw's eligible principal in one target, signed cents.

    `kind` is the row's (draw, opening, interest, repayment, adjustment, fee,
    reclass) or `relink`, when principal followed money from `target` to `to`.
    """

    id: str
    on: date
    line: str
    kind: str
    draw: str
    target: str
    cents: int
    to: str = ""


@dataclass(frozen=True, slots=True)
class Shares:
    """A trace by draw. `principal` is what each draw still has, by line, target and draw."""

    principal: Mapping[str, Mapping[Source, int]]
    moves: tuple[Move, ...]
    postings: tuple[PostingShares, ...]
    payments: tuple[PaymentShares, ...]


def shares_of(household: Household, traced: Trace) -> Shares:
    """Take a household's trace apart by draw. Asserts that every part adds up.

    `traced` is the trace of this household; amounts are in cents.
    """
    order = {fact.entry.id: place for place, fact in enumerate(household_facts(household))}
    principal: dict[str, Mapping[Source, int]] = {}
    moves: list[Move] = []
    postings: list[PostingShares] = []
    payments: list[PaymentShares] = []
    for line in household.lines:
        found = _Walk(household, line, traced)
        found.walk(order)
        principal[line.ref] = {source: cents for source, cents in found.held.items() if cents}
        moves += found.moves
        postings += found.postings
        payments += found.payments
    moves.sort(key=lambda one: order[one.id])
    postings.sort(key=lambda one: order[one.posting.id])
    payments.sort(key=lambda one: order[one.payment.id])
    return Shares(principal, tuple(moves), tuple(postings), tuple(payments))


@dataclass(slots=True)
class _Open:
    """A posting's eligible interest that is still unpaid, by draw."""

    simple: Amounts
    compound: Amounts


@dataclass(slots=True)
class _Weights:
    """What the nights since the last posting weigh, by draw: principal and unpaid interest."""

    principal: Amounts = field(default_factory=lambda: defaultdict(int))
    interest: Amounts = field(default_factory=lambda: defaultdict(int))

    def add(self, held: Mapping[Source, int], unpaid: Mapping[Source, int], factor: int) -> None:
        """Nights at `factor` (rate x nights) on what was held and unpaid."""
        for source, cents in held.items():
            self.principal[source] += cents * factor
        for source, cents in unpaid.items():
            self.interest[source] += cents * factor


class _Walk:
    """One line's rows once more, by draw."""

    def __init__(self, household: Household, line: Line, traced: Trace) -> None:
        self.ref = line.ref
        self.traced = traced
        self.trace = traced.lines[line.ref]
        self.rates = NightRates.of(household, line)
        statements = household.statements_of(line.ref)
        self.at = statements[0].starts if statements else None
        self.held: Amounts = {}
        self.open: dict[str, _Open] = {}
        self.rated, self.plain, self.missing = _Weights(), _Weights(), False
        self.moves: list[Move] = []
        self.postings: list[PostingShares] = []
        self.payments: list[PaymentShares] = []
        self.posted = {one.id: one for one in self.trace.postings}
        self.paid: dict[str, list[InterestPayment]] = defaultdict(list)
        for one in traced.payments:
            if one.line == line.ref:
                self.paid[one.id].append(one)

    def walk(self, order: Mapping[str, int]) -> None:
        """Play the rows and the moves between accounts in the order of facts."""
        moved = [one for one in self.traced.relinks if one.line == self.ref]
        events: list[TraceRow | Relink] = [*self.trace.rows, *moved]
        events.sort(key=lambda one: order[one.id])
        for event in events:
            self._roll(event.on)
            if isinstance(event, Relink):
                self._follow(event)
            else:
                self._row(event)
        totals: dict[str, int] = defaultdict(int)
        for (_, target), cents in self.held.items():
            totals[target] += cents
        assert all(totals[ref] == cents for ref, cents in self.trace.targets.items())

    def _roll(self, day: date) -> None:
        """Count the nights up to the evening before `day`, as the line itself does."""
        if self.at is None or day <= self.at:
            return
        for restart in self.rates.restarts:
            if self.at < restart <= day:
                self.rated, self.plain, self.missing = _Weights(), _Weights(), False
                self.at = restart
        nights = rated = 0
        for start, end, rate in self.rates.stretches(self.at, day):
            count = (end - start).days
            nights += count
            self.missing = self.missing or rate is None
            rated += max(0, rate or 0) * count
        unpaid = _summed(part for one in self.open.values() for part in (one.simple, one.compound))
        self.rated.add(self.held, unpaid, rated)
        self.plain.add(self.held, unpaid, nights)
        self.at = day

    def _row(self, row: TraceRow) -> None:
        if row.kind == "interest":
            self._post(self.posted[row.id])
        for payment in self.paid.get(row.id, ()):
            self._pay(payment)
        for target, cents in row.targets:
            if cents >= 0:
                self._change(row.id, row.on, row.kind, (row.id, target), cents)
            else:
                self._lower(row, target, -cents)

    def _lower(self, row: TraceRow, target: str, cents: int) -> None:
        """Take a target's reduction off the draws in it, in proportion."""
        for source, part in self._shared(target, cents):
            self._change(row.id, row.on, row.kind, source, -part)

    def _follow(self, move: Relink) -> None:
        """Principal that went along from one account to another, its draws with it."""
        for source, part in self._shared(move.source, move.cents):
            draw = source[0]
            self.held[source] -= part
            self.held[draw, move.to] = self.held.get((draw, move.to), 0) + part
            self.moves.append(
                Move(move.id, move.on, self.ref, "relink", draw, move.source, part, move.to)
            )

    def _shared(self, target: str, cents: int) -> list[tuple[Source, int]]:
        inside = [source for source, held in self.held.items() if source[1] == target and held]
        parts = prorate(cents, [self.held[source] for source in inside])
        return [(source, part) for source, part in zip(inside, parts, strict=True) if part]

    def _change(self, entry: str, on: date, kind: str, source: Source, cents: int) -> None:
        self.held[source] = self.held.get(source, 0) + cents
        assert self.held[source] >= 0, "a draw has less than nothing left"
        self.moves.append(Move(entry, on, self.ref, kind, source[0], source[1], cents))

    def _post(self, posting: PostingTrace) -> None:
        """Share a posting's eligible part over the draws by what their nights weighed."""
        weights = self.plain if self.missing else self.rated
        compound = _split(posting.compound[0], weights.interest)
        simple = _split(posting.classes[0] - posting.compound[0], weights.principal)
        self.rated, self.plain, self.missing = _Weights(), _Weights(), False
        self.open[posting.id] = _Open(simple, compound)
        self.postings.append(PostingShares(posting, _shares(simple, compound)))

    def _pay(self, payment: InterestPayment) -> None:
        """Share a payment's eligible part by what is unpaid of its posting."""
        owed = self.open.get(payment.posting) or _Open({}, {})
        simple = _split(payment.classes[0] - payment.compound[0], owed.simple)
        compound = _split(payment.compound[0], owed.compound)
        for held, taken in ((owed.simple, simple), (owed.compound, compound)):
            for source, cents in taken.items():
                held[source] -= cents
                assert held[source] >= 0, "more interest was paid than was owed"
        if not any((*owed.simple.values(), *owed.compound.values())):
            # Nothing eligible is unpaid; what other classes owe of it is not ours.
            self.open.pop(payment.posting, None)
        self.payments.append(PaymentShares(payment, _shares(simple, compound)))


def _split(cents: int, weights: Mapping[Source, int]) -> Amounts:
    """`cents` over the draws by weight; empty when there is nothing to share."""
    found = {source: weight for source, weight in weights.items() if weight}
    if not cents:
        return {}
    assert found, "eligible interest without a draw behind it"
    parts = prorate(cents, list(found.values()))
    return {source: part for source, part in zip(found, parts, strict=True) if part}


def _shares(simple: Mapping[Source, int], compound: Mapping[Source, int]) -> tuple[Share, ...]:
    both = dict.fromkeys((*simple, *compound))
    return tuple(Share(*source, simple.get(source, 0), compound.get(source, 0)) for source in both)


def _summed(parts: Iterable[Mapping[Source, int]]) -> Amounts:
    total: Amounts = defaultdict(int)
    for part in parts:
        for source, cents in part.items():
            total[source] += cents
    return total
