"""The fingerprint of what one close rests on: same digest, same row.

sha256 over canonical JSON of the facts visible at the month's end, the plan,
the firm's thresholds and the engine's version. Keys are sorted, numbers are
written in their shortest form, lists that have no order of their own are
sorted by reference, so the digest does not depend on how a file was laid out.
"""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass, replace
from datetime import date
from decimal import Decimal
from hashlib import sha256

from ledger.core.drift.thresholds import Thresholds
from ledger.core.facts import household_facts
from planning.core.rates import merged_prime
from planning.core.suitability import NOTHING_ASSESSED
from planning.core.types import Household, Plan, RateSteps, Statement, Use

ENGINE = "towpath-2"
"""Raised by one whenever the engine would compute another row from the same facts."""


def canonical(value: object) -> object:
    """A core value as plain JSON: fields that are None left out, rates in shortest form."""
    if is_dataclass(value) and not isinstance(value, type):
        pairs = ((one.name, getattr(value, one.name)) for one in fields(value))
        return {name: canonical(held) for name, held in pairs if held is not None}
    if isinstance(value, tuple):
        return [canonical(one) for one in value]
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    return value.isoformat() if isinstance(value, date) else value


def canonical_text(value: object) -> str:
    """Canonical JSON text of a core value."""
    return json.dumps(canonical(value), sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def _up_to(steps: RateSteps, as_of: date) -> RateSteps:
    return tuple(one for one in steps if one[0] <= as_of)


class Digests:
    """Digests of a household's months; what never changes is written out once."""

    def __init__(self, household: Household, thresholds: Thresholds) -> None:
        plan = household.plan
        standing = undated(household)
        prime = merged_prime(plan.prime, household.prime) if plan else ()
        self._standing = "".join(
            (ENGINE, canonical_text(standing), canonical_text(prime), canonical_text(thresholds))
        )
        self._prime = household.prime
        self._household = household
        order = sorted(household.statements, key=lambda one: (one.account, one.starts, one.ends))
        self._statements = tuple((one, canonical_text(one)) for one in order)
        # A decision about a draw that has no date here counts always, to be safe.
        drawn = {fact.entry.id: fact.on for fact in household_facts(household) if fact.of_line}
        self._uses = tuple(
            (one, drawn.get(one.draw, date.min), _latest_paper(one), canonical_text(one))
            for one in sorted(household.uses, key=lambda one: one.draw)
        )

    def of(self, month: str, as_of: date) -> str:
        """The digest of a month closed as of its last day."""
        hashed = sha256()
        hashed.update(f"{month}{self._standing}".encode())
        hashed.update(canonical_text(_up_to(self._prime, as_of)).encode())
        hashed.update(_dated(self._household, as_of).encode())
        for statement, text in self._statements:
            if statement.ends <= as_of:
                hashed.update(text.encode())
            elif statement.starts <= as_of:
                hashed.update(canonical_text(_visible(statement, as_of)).encode())
        for use, drawn, latest, text in self._uses:
            if drawn > as_of:
                continue  # what a later draw was used for says nothing about this month
            known = text if latest <= as_of else canonical_text(_known(use, as_of))
            hashed.update(known.encode())
        return hashed.hexdigest()


def undated(household: Household) -> Household:
    """What has no date of its own: people, contracts, accounts, plan."""
    return replace(
        household,
        statements=(),
        uses=(),
        prime=(),
        members=tuple(replace(one, gains=()) for one in household.members),
        suitability=NOTHING_ASSESSED,
    )


def _dated(household: Household, as_of: date) -> str:
    """Realised gains and suitability records up to a day; empty without any."""
    gains = tuple(
        f"{one.ref}:{gain.on.isoformat()}:{gain.amount_cents}"
        for one in household.members
        for gain in sorted(one.gains, key=lambda gain: (gain.on, gain.amount_cents))
        if gain.on <= as_of
    )
    known = household.suitability.up_to(as_of)
    found = "".join(gains)
    return found + canonical_text(known) if known != NOTHING_ASSESSED else found


def plan_mark(plan: Plan) -> str:
    """A short name for a version of a plan: the same content, the same mark."""
    ordered = replace(plan, opening=tuple(sorted(plan.opening)))
    return sha256(canonical_text(ordered).encode()).hexdigest()[:12]


def _visible(statement: Statement, as_of: date) -> Statement:
    """A statement that is still running at the close, without what is dated later."""
    return replace(
        statement,
        rates=_up_to(statement.rates, as_of),
        entries=tuple(one for one in statement.entries if one.date <= as_of),
    )


def _latest_paper(use: Use) -> date:
    dates = [paper.on for split in use.splits for paper in split.evidence if paper.on]
    return max(dates, default=date.min)


def _known(use: Use, as_of: date) -> Use:
    return replace(
        use,
        splits=tuple(
            replace(
                split,
                evidence=tuple(
                    paper for paper in split.evidence if paper.on is None or paper.on <= as_of
                ),
            )
            for split in use.splits
        ),
    )
