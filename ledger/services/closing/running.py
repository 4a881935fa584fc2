"""One household's due months, in order, each written whole or not at all.

Between two transactions this process holds nothing that matters. The steps and
their fault points: claimed, loaded, computed, guarded, listed, written (before
the commit), committed, finished.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.db.models.functions import Now

from config.database import firm_scope
from config.faults import fault_point
from config.problems import BadInput
from ledger.core.close import Closing
from ledger.core.month_result import HouseholdCloser, KeptMonth
from ledger.models import HouseholdMonth
from ledger.services.closing import claiming, facts, listing, staleness, sweeping
from ledger.services.closing.claiming import Claim, LostLeaseError

log = logging.getLogger(__name__)

FAR_AHEAD = date(9999, 12, 1)


class DifferentResultError(Exception):
    """The same facts and engine gave another result than before: the engine is at fault."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one month that was worked on."""

    household_id: UUID
    month: date
    state: str
    error: str


def run_item(*, firm_id: UUID, item_id: UUID, seconds: float = 240.0) -> tuple[Outcome, ...]:
    """Close the household of a row up to all that is due; for a worker's message.

    Nothing happens when the row is gone, done, or held by somebody else. After
    `seconds` no further month is begun; the rest is hinted again.
    """
    with firm_scope(firm_id):
        household = (
            HouseholdMonth.objects.filter(pk=item_id).values_list("household_id", flat=True).first()
        )
    if household is None:
        return ()
    found = run_household(firm_id=firm_id, household_id=household, seconds=seconds)
    with firm_scope(firm_id):
        sweeping.hint_due(firm_id=firm_id, household_id=household)
    return found


def run_household(
    *,
    firm_id: UUID,
    household_id: UUID,
    through: date = FAR_AHEAD,
    recheck: bool = False,
    seconds: float = float("inf"),
    progress: Callable[[Outcome], None] | None = None,
) -> tuple[Outcome, ...]:
    """Close every due month of a household up to `through`, oldest first.

    Facts are read once and kept as long as no fence moved. `recheck` looks at
    every closed month again, marked or not, for facts, thresholds or an engine
    that changed. Returns what became of each month; stops early when another
    worker is on the household, when a month has to wait, when the facts of a
    closed month cannot be read, or when `seconds` are over.
    """
    run = _Run(firm_id, household_id, through)
    started = time.monotonic()
    found: list[Outcome] = []
    unread = run.renew(recheck=recheck)
    if unread is not None:
        return (unread,)
    while time.monotonic() - started < seconds:
        outcome = run.step()
        if outcome is None:
            break
        found.append(outcome)
        if progress is not None:
            progress(outcome)
    return tuple(found)


class _Run:
    """A household held in memory for as long as its facts stand."""

    def __init__(self, firm_id: UUID, household_id: UUID, through: date) -> None:
        self.firm_id = firm_id
        self.household_id = household_id
        self.through = through
        self._closer: HouseholdCloser | None = None
        self._known: dict[UUID, int] = {}

    def renew(self, *, recheck: bool) -> Outcome | None:
        """Look again at months whose facts changed; at every closed month with `recheck`.

        Facts that cannot be read leave the results as they are, with the error
        beside the mark; the outcome then says so.
        """
        with firm_scope(self.firm_id):
            rows = staleness.closed_months(self.household_id, self.through, only_stale=not recheck)
        if not rows:
            return None
        try:
            with firm_scope(self.firm_id):
                self._load()
        except Exception as error:
            words = _words(error)
            with firm_scope(self.firm_id):
                staleness.not_read(self.household_id, words)
            return Outcome(self.household_id, rows[0].month, "failed", words)
        assert self._closer is not None
        for row in rows:
            if row.stale_reason or not staleness.stands(self._closer, row):
                with firm_scope(self.firm_id):
                    staleness.renew(self._closer, self._known, row)
                fault_point("close.renewed")
        return None

    def step(self) -> Outcome | None:
        """Claim the next month, compute it, write it; None when nothing is left to claim."""
        with firm_scope(self.firm_id):
            claim = claiming.claim_next(self.household_id, self.through)
        if claim is None:
            return None
        fault_point("close.claimed")
        try:
            state, error = self._attempt(claim)
        except LostLeaseError:
            self._closer = None
            return Outcome(self.household_id, claim.month, "lost", "")
        fault_point("close.committed")
        with firm_scope(self.firm_id):
            sweeping.finalize(claim.close_id)
        fault_point("close.finished")
        return Outcome(self.household_id, claim.month, state, error)

    def _attempt(self, claim: Claim) -> tuple[str, str]:
        """Close one claimed month; the state it is in afterwards, and the error if it failed."""
        try:
            kept = self._compute(claim)
            with firm_scope(self.firm_id):
                return write(claim, kept, firm_id=self.firm_id), ""
        except LostLeaseError:
            raise
        except Exception as error:
            log.warning("close of item %s failed: %s", claim.id, type(error).__name__)
            words = _words(error)
            lasting = isinstance(error, BadInput | DifferentResultError)
            with firm_scope(self.firm_id):
                return claiming.give_up(claim, words, lasting=lasting), words

    def _compute(self, claim: Claim) -> KeptMonth:
        """The month's result from the facts in memory, read again when a fence moved."""
        if self._closer is None or self._known.get(claim.id) != claim.fence - 1:
            with firm_scope(self.firm_id):
                self._load()
        assert self._closer is not None
        fault_point("close.loaded")
        kept = self._closer.close(f"{claim.month:%Y-%m}")
        fault_point("close.computed")
        return kept

    def _load(self) -> None:
        """Read fences first, then facts: a change in between moves a fence."""
        self._known = claiming.fences(self.household_id)
        household, thresholds = facts.household_value(self.household_id)
        last = min(self.through, facts.last_open_month(self.household_id))
        self._closer = HouseholdCloser(Closing(household, thresholds), f"{last:%Y-%m}")


def _words(error: Exception) -> str:
    """What goes beside a month that could not be closed."""
    return str(error) or type(error).__name__


def write(claim: Claim, kept: KeptMonth, *, firm_id: UUID) -> str:
    """Store a month's result with its findings, if the fence still holds; the state stored.

    One transaction, the caller's. Raises LostLeaseError when it does not hold,
    DifferentResultError when the same inputs gave another result before.
    """
    earlier = _earlier_result(claim)
    same = earlier is not None and (earlier.input_digest, earlier.engine) == (
        kept.input_digest,
        kept.engine,
    )
    mine = HouseholdMonth.objects.filter(pk=claim.id, fence=claim.fence, state="running")
    if same:
        assert earlier is not None
        if earlier.result_digest != kept.result_digest:
            raise DifferentResultError(f"digest {kept.input_digest[:12]} gave two results")
        if not mine.update(state="superseded", lease_until=None, superseded_at=Now()):
            raise LostLeaseError
        fault_point("close.guarded")
        HouseholdMonth.objects.filter(pk=earlier.pk).update(state="done", superseded_at=None)
    else:
        written = mine.update(
            state="done",
            lease_until=None,
            stale_reason="",
            input_digest=kept.input_digest,
            engine=kept.engine,
            result=kept.result,
            result_digest=kept.result_digest,
            closed_at=Now(),
        )
        if not written:
            raise LostLeaseError
        fault_point("close.guarded")
    if claim.month >= _newest_result_month(claim):
        listing.update_list(
            firm_id=firm_id, household_id=claim.household_id, month=claim.month, runs=kept.runs
        )
    fault_point("close.written")
    return "done"


def _earlier_result(claim: Claim) -> HouseholdMonth | None:
    """The latest earlier version of the same month that has a result."""
    rows = HouseholdMonth.objects.filter(
        household_id=claim.household_id, month=claim.month, version__lt=claim.version
    )
    return rows.exclude(result_digest="").defer("result").order_by("-version").first()


def _newest_result_month(claim: Claim) -> date:
    """The newest month of the household that was ever closed.

    The list of findings follows that month alone. When earlier months are
    closed again because of corrected facts, it is closed again after them.
    """
    rows = HouseholdMonth.objects.filter(household_id=claim.household_id)
    months = rows.exclude(result_digest="").order_by("-month").values_list("month", flat=True)
    return months.first() or claim.month
