"""Deciding what a draw was used for: a new revision each time, the earlier ones kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from uuid import UUID

from django.db import transaction
from django.db.models import Max

from config import audit
from config.problems import BadInput
from ledger import models as rows
from ledger.core.decision import decision_problems, drawing
from ledger.mapping import household_value
from ledger.services.batches import UseBatch
from ledger.services.closing.staleness import mark_stale
from planning.access import Access
from planning.core.types import Household, Split, Use
from planning.models import Household as HouseholdRow


class DecidedMeanwhileError(Exception):
    """Somebody decided about the draw after the page was read; look at theirs first."""

    def __init__(self, revision: int) -> None:
        self.revision = revision
        super().__init__(f"the draw stands at decision {revision} now")


def decide_use(
    *,
    access: Access,
    ref: str,
    draw: str,
    splits: Sequence[Split],
    reason: str,
    seen: int | None = None,
) -> rows.DrawUse | None:
    """Record what a draw was used for; without splits, that no use is claimed.

    `seen` is the revision of the decision the person had before them (0: none);
    None decides over whatever stands. The decision that is in force already is
    not written twice: its row comes back, whatever was seen. The result is None
    when nothing was and nothing is claimed. Closes from the draw's month on are
    marked to be done again.

    Raises BadInput with every fault, ValueError without a reason,
    DecidedMeanwhileError when another decision came between, NotVisibleError
    when the household is not in view, PermissionDenied when the role may not.
    """
    access.require("use.decide")
    if not reason.strip():
        raise ValueError("A decision needs a reason: say how you know what the money was used for")
    with access.opened(), transaction.atomic():
        household = access.household(ref, lock=True)
        value = household_value(household)
        problems = decision_problems(value, draw, splits)
        if problems:
            raise BadInput(problems)
        last = _last(household.pk, draw)
        if _stands(value, draw) == tuple(splits):
            return last
        if seen is not None and seen != (last.revision if last else 0):
            raise DecidedMeanwhileError(last.revision if last else 0)
        row = _append(access, household, draw, tuple(splits), reason.strip(), last)
        _mark(household.pk, value, (draw,), reason.strip())
        audit.record(
            access,
            "use.decide",
            object_type="household",
            object_id=household.pk,
            detail={
                "draw": draw,
                "revision": row.revision,
                "withdrawn": row.withdrawn,
                "reason": reason.strip(),
            },
        )
        return row


def drop_paper(
    access: Access, household: HouseholdRow, value: Household, paper: str, reason: str
) -> tuple[str, ...]:
    """Decide anew, without a paper, whatever names it; the draws concerned.

    In the transaction that takes the paper back, the household locked.
    """
    named = tuple(
        one
        for one in value.uses
        if any(paper == ref.ref for split in one.splits for ref in split.evidence)
    )
    for one in named:
        splits = tuple(
            replace(split, evidence=tuple(held for held in split.evidence if held.ref != paper))
            for split in one.splits
        )
        last = _last(household.pk, one.draw)
        _append(access, household, one.draw, splits, f"{paper}: {reason.strip()}", last)
    draws = tuple(one.draw for one in named)
    if draws:
        _mark(household.pk, value, draws, f"{paper}: {reason.strip()}")
    return draws


def _last(household_id: UUID, draw: str) -> rows.DrawUse | None:
    found = rows.DrawUse.objects.filter(household_id=household_id, draw=draw)
    return found.order_by("-revision").first()


def _stands(value: Household, draw: str) -> tuple[Split, ...]:
    return next((one.splits for one in value.uses if one.draw == draw), ())


def _append(
    access: Access,
    household: HouseholdRow,
    draw: str,
    splits: tuple[Split, ...],
    reason: str,
    last: rows.DrawUse | None,
) -> rows.DrawUse:
    """The next revision; the unique key refuses a second one of that number."""
    position = last.position if last else _next_position(household.pk)
    row = rows.DrawUse(
        firm_id=access.firm_id,
        household=household,
        draw=draw,
        revision=last.revision + 1 if last else 1,
        supersedes=last,
        withdrawn=not splits,
        position=position,
        reason=reason,
        by_id=access.user_id,
    )
    batch = UseBatch()
    batch.add(row, Use(draw, splits) if splits else None)
    batch.write()
    return row


def _next_position(household_id: UUID) -> int:
    found = rows.DrawUse.objects.filter(household_id=household_id)
    last: int | None = found.aggregate(last=Max("position"))["last"]
    return 0 if last is None else last + 1


def _mark(household_id: UUID, value: Household, draws: Sequence[str], reason: str) -> None:
    """Closes from the earliest of the draws on rest on changed facts."""
    found = [drawing(value, one) for one in draws]
    days = [fact.on for fact in found if fact is not None]
    if len(days) < len(draws):
        # A decision about an entry that is not on file yet: any month may come to rest on it.
        days += [one.starts for one in value.statements]
    first: date | None = min(days, default=None)
    if first is not None:
        mark_stale(household_id=household_id, month=first, reason=reason[:500])
