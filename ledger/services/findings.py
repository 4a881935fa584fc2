"""What people do to findings: see, accept until a day, put back, assign, note.

Every act locks its findings in the order of their ids, so that two people at
once take turns; the second finds the act done and adds nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Max

from config import audit
from ledger.core.finding_changes import EventKind
from ledger.models import Finding, FindingEvent
from ledger.services.closing.facts import firm_today
from planning.access import Access, NotVisibleError
from planning.models import Membership

LONGEST_ACCEPTANCE = timedelta(days=366)
"""House practice (common practice, no source): what is left for longer is looked at again."""
LONGEST_TEXT = 2000
MOST_AT_ONCE = 200
WORKERS = ("principal", "advisor", "assistant")


class SettledFindingError(Exception):
    """The finding is not open any more, so there is nothing to decide about it."""


@dataclass(frozen=True, slots=True)
class _Event:
    """What an act leaves in the history of one finding."""

    kind: EventKind
    reason: str = ""
    until: date | None = None
    assignee: UUID | None = None
    form: UUID | None = None


_Act = Callable[[Finding], _Event | None]
"""Changes a locked finding; the event it leaves, or None when there was nothing to do."""


def mark_seen(*, access: Access, finding_id: UUID) -> Finding:
    """Note that somebody looked. A finding that was seen or accepted stays as it is."""
    return _one(access, finding_id, "finding.work", _see)


def accept(*, access: Access, finding_id: UUID, reason: str, until: date) -> Finding:
    """Leave an open finding as it is, for a reason and up to a day.

    It is off the list until it grows graver or `until` is over. The same
    acceptance twice is one; another reason or day replaces it. Raises ValueError
    without a reason, or for a day that is not within a year from tomorrow;
    SettledFindingError when it is not open, NotVisibleError when it is not in
    view, PermissionDenied when the role may not.
    """
    return _one(access, finding_id, "finding.accept", lambda: _accepting(reason, until))


def put_back(*, access: Access, finding_id: UUID) -> Finding:
    """Take an acceptance back: the finding is on the list again."""
    return _one(access, finding_id, "finding.accept", _put_back)


def assign(*, access: Access, finding_id: UUID, member_id: UUID | None) -> Finding:
    """Give a finding to a member of the firm who can see its household; None takes it away.

    Raises ValueError for somebody who cannot see it.
    """
    return _one(access, finding_id, "finding.work", lambda: _assigning(access, member_id))


def add_note(*, access: Access, finding_id: UUID, text: str, form: UUID) -> Finding:
    """Add words to a finding's history; they stay. `form` is new for every note meant.

    Notes may be added to a settled finding as well. Raises ValueError without words.
    """
    return _one(access, finding_id, "finding.work", lambda: _noting(text, form), settled=True)


def mark_seen_all(*, access: Access, finding_ids: Iterable[UUID]) -> int:
    """Mark findings seen; how many were not before. All are in view, or nothing is done."""
    return _many(access, finding_ids, "finding.work", _see)


def accept_all(*, access: Access, finding_ids: Iterable[UUID], reason: str, until: date) -> int:
    """Accept findings for one reason up to one day, as `accept`; how many this changed.

    All are in view, or nothing is done; those settled meanwhile are left alone.
    """
    return _many(access, finding_ids, "finding.accept", lambda: _accepting(reason, until))


def assign_all(*, access: Access, finding_ids: Iterable[UUID], member_id: UUID | None) -> int:
    """Give findings to one person, who must be able to see all of them; how many this changed."""
    return _many(access, finding_ids, "finding.work", lambda: _assigning(access, member_id))


# -- the acts ------------------------------------------------------------------


def _see() -> _Act:
    def act(row: Finding) -> _Event | None:
        if row.state != "open":
            return None
        row.state = "seen"
        return _Event("seen")

    return act


def _accepting(reason: str, until: date) -> _Act:
    words = _words(reason, "An acceptance needs a reason: say why the finding is left as it is")
    today = firm_today()
    if not today < until <= today + LONGEST_ACCEPTANCE:
        raise ValueError("An acceptance ends on a day to come, at most a year from today")

    def act(row: Finding) -> _Event | None:
        if row.state == "accepted":
            accepted = FindingEvent.objects.filter(finding=row, kind="accepted")
            last = accepted.order_by("-number").first()
            if last is not None and (last.reason, row.accepted_until) == (words, until):
                return None
        row.state, row.accepted_until = "accepted", until
        return _Event("accepted", reason=words, until=until)

    return act


def _put_back() -> _Act:
    def act(row: Finding) -> _Event | None:
        if row.state != "accepted":
            return None
        row.state, row.accepted_until = "open", None
        return _Event("released")

    return act


def _assigning(access: Access, member_id: UUID | None) -> _Act:
    theirs = None if member_id is None else _standing_of(access, member_id)

    def act(row: Finding) -> _Event | None:
        if theirs is not None and not theirs.households().filter(pk=row.household_id).exists():
            raise ValueError("This person cannot see the household of the finding")
        if row.assignee_id == member_id:
            return None
        row.assignee_id = member_id
        return _Event("unassigned" if member_id is None else "assigned", assignee=member_id)

    return act


def _standing_of(access: Access, member_id: UUID) -> Access:
    """The access of a member of the firm who works on findings. Raises ValueError."""
    member = Membership.objects.filter(
        firm_id=access.firm_id, pk=member_id, active=True, role__in=WORKERS
    ).first()
    if member is None:
        raise ValueError("Findings are given to active staff of the firm")
    return Access(
        firm_id=access.firm_id,
        role=member.role,
        actor=access.actor,
        channel=access.channel,
        membership_id=member.pk,
    )


def _noting(text: str, form: UUID) -> _Act:
    words = _words(text, "A note needs words")

    def act(row: Finding) -> _Event | None:
        if FindingEvent.objects.filter(finding=row, form=form).exists():
            return None
        return _Event("noted", reason=words, form=form)

    return act


def _words(text: str, absent: str) -> str:
    words = text.replace("\x00", "").strip()
    if not words:
        raise ValueError(absent)
    if len(words) > LONGEST_TEXT:
        raise ValueError(f"At most {LONGEST_TEXT} characters")
    return words


# -- one transaction for each ----------------------------------------------------


def _one(
    access: Access,
    finding_id: UUID,
    action: str,
    prepare: Callable[[], _Act],
    *,
    settled: bool = False,
) -> Finding:
    """Do an act to one finding; a settled one is refused unless `settled` allows it."""
    access.require(action)
    with access.opened():
        (row,) = _locked(access, {finding_id})
        if not row.open and not settled:
            raise SettledFindingError(f"{row.code} ended with {row.last_month:%Y-%m}")
        _do(access, [row], prepare())
        return row


def _many(
    access: Access, finding_ids: Iterable[UUID], action: str, prepare: Callable[[], _Act]
) -> int:
    access.require(action)
    wanted = set(finding_ids)
    if len(wanted) > MOST_AT_ONCE:
        raise ValueError(f"At most {MOST_AT_ONCE} findings at once")
    with access.opened():
        rows = [row for row in _locked(access, wanted) if row.open]
        return _do(access, rows, prepare())


def _locked(access: Access, wanted: set[UUID]) -> list[Finding]:
    """The findings, all of them in view, locked until the transaction ends."""
    if access.scope(Finding.objects.filter(pk__in=wanted)).count() != len(wanted):
        raise NotVisibleError("no such finding")
    rows = Finding.objects.filter(firm_id=access.firm_id, pk__in=wanted)
    return list(rows.select_for_update(no_key=True).order_by("pk"))


def _do(access: Access, rows: list[Finding], act: _Act) -> int:
    """Apply an act to locked findings, with their events and one line each in the trail."""
    done: list[tuple[Finding, _Event]] = []
    for row in rows:
        event = act(row)
        if event is None:
            continue
        row.save(update_fields=["state", "accepted_until", "assignee"])
        done.append((row, event))
    last = dict(
        FindingEvent.objects.filter(finding__in=[row for row, _ in done])
        .values_list("finding_id")
        .annotate(Max("number"))
    )
    for row, event in done:
        FindingEvent.objects.create(
            firm_id=access.firm_id,
            finding=row,
            number=last.get(row.pk, 0) + 1,
            kind=event.kind,
            dollars_cents=row.dollars_cents,
            severity=row.severity,
            reason=event.reason,
            until=event.until,
            assignee_id=event.assignee,
            form=event.form,
            by_id=access.user_id,
        )
    for row, event in done:
        audit.record(
            access,
            f"finding.{event.kind}",
            object_type="household",
            object_id=row.household_id,
            detail=_detail(row, event),
        )
    return len(done)


def _detail(row: Finding, event: _Event) -> dict[str, Any]:
    given = {
        "reason": event.reason,
        "until": event.until and event.until.isoformat(),
        "assignee": event.assignee and str(event.assignee),
    }
    named = {"finding": str(row.pk), "code": row.code, "key": row.key}
    return named | {name: value for name, value in given.items() if value}
