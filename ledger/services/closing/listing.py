"""What a close does to the list of findings: one row for each run, events for what changed."""

from __future__ import annotations

import json
from datetime import date
from uuid import UUID

from django.db.models import Max

from ledger.core.finding_changes import Change, Listed, Run, changes
from ledger.models import Finding, FindingEvent
from ledger.services.closing import announcing
from ledger.services.closing.expiring import put_back_expired


def update_list(*, firm_id: UUID, household_id: UUID, month: date, runs: tuple[Run, ...]) -> int:
    """Make the household's findings say what the close of `month` found.

    Runs inside the transaction that writes the close. The household's row of
    that close is locked, so no other close of it is writing; the findings are
    locked, in the order of their ids as everywhere, so that no person's decision
    of the same moment is written over. An acceptance whose last day is over ends
    first. Returns the number of rows written; closing the same facts again writes none.
    """
    put_back_expired(firm_id=firm_id, household_id=household_id)
    locked = Finding.objects.filter(household_id=household_id).select_for_update(no_key=True)
    rows = sorted(locked.order_by("pk"), key=lambda row: (row.first_month, row.pk))
    held = {str(row.pk): row for row in rows}
    moves = changes(tuple(_listed(row) for row in held.values()), runs)
    numbers = _event_numbers(household_id)
    events: list[FindingEvent] = []
    for move in moves:
        row = held[move.listed.id] if move.listed else Finding(firm_id=firm_id)
        _write(row, household_id, move)
        for kind in move.events:
            numbers[row.pk] = numbers.get(row.pk, 0) + 1
            events.append(
                FindingEvent(
                    firm_id=firm_id,
                    finding_id=row.pk,
                    number=numbers[row.pk],
                    kind=kind,
                    month=month,
                    dollars_cents=move.run.dollars_cents,
                    severity=move.run.severity,
                )
            )
    FindingEvent.objects.bulk_create(events)
    announcing.findings(firm_id=firm_id, household_id=household_id, month=month, events=events)
    return len(moves)


def _event_numbers(household_id: UUID) -> dict[UUID, int]:
    """The number of the latest event of each finding of a household."""
    rows = FindingEvent.objects.filter(finding__household_id=household_id)
    return dict(rows.values_list("finding_id").annotate(Max("number")))


def _write(row: Finding, household_id: UUID, move: Change) -> None:
    """Store one change."""
    run = move.run
    row.household_id = household_id
    row.code, row.key = run.code, run.key
    row.first_month, row.last_month = _day(run.first), _day(run.last)
    row.dollars_cents, row.cost_per_year_cents = run.dollars_cents, run.cost_per_year_cents
    row.severity, row.life = run.severity, run.life
    row.open, row.state = run.open, move.state
    if move.state != "accepted":
        row.accepted_until = None
    row.detail = json.loads(run.detail) if run.detail else {}
    row.save()


def _listed(row: Finding) -> Listed:
    """A stored finding in the terms of the pure rules."""
    detail = json.dumps(row.detail, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    run = Run(
        code=row.code,
        key=row.key,
        first=f"{row.first_month:%Y-%m}",
        last=f"{row.last_month:%Y-%m}",
        open=row.open,
        dollars_cents=row.dollars_cents,
        cost_per_year_cents=row.cost_per_year_cents,
        severity=row.severity,
        life=row.life,
        detail=detail,
    )
    return Listed(id=str(row.pk), run=run, state=row.state)


def _day(month: str) -> date:
    return date.fromisoformat(f"{month}-01")
