"""What is past its time: found by class, and removed only when that is asked for.

Facts of households and the trail have no end here: they are the firm's records.
The years are the product's own choice (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

from django.db import connection

from config import audit
from config.database import firm_scope
from planning.access import Access
from planning.selectors.firms import firm_ids


@dataclass(frozen=True, slots=True)
class Kept:
    """A class of rows: its table, what is past (with `{}` for the days) and how long it is kept."""

    name: str
    table: str
    past: str
    days: int
    of_firm: bool = True


_NO_SESSION = "NOT EXISTS (SELECT 1 FROM django_session s WHERE s.session_key = one.session_key)"
CLASSES: tuple[Kept, ...] = (
    Kept(
        "sessions", "django_session", "expire_date < now() - interval '{} days'", 0, of_firm=False
    ),
    Kept(
        "sessions listed",
        "usersessions_usersession",
        f"created_at < now() - interval '{{}} days' AND {_NO_SESSION}",
        1,
        of_firm=False,
    ),
    Kept(
        "rate counts",
        "config_ratecount",
        "window_ends < now() - interval '{} days'",
        1,
        of_firm=False,
    ),
    Kept(
        "invitations' parts",
        "planning_invitationpart",
        "EXISTS (SELECT 1 FROM planning_invitation i WHERE i.id = one.invitation_id"
        " AND coalesce(i.accepted_at, i.revoked_at, i.expires_at) < now() - interval '{} days')",
        90,
    ),
    Kept(
        "invitations",
        "planning_invitation",
        "coalesce(accepted_at, revoked_at, expires_at) < now() - interval '{} days'",
        90,
    ),
    Kept("sightings", "planning_sighting", "at < now() - interval '{} days'", 3 * 366),
)


def past_retention(*, apply: bool) -> dict[str, int]:
    """How many rows of each class are past their time, in every firm; removed with `apply`.

    Each firm's removals are one transaction with one entry in its trail.
    """
    found = dict.fromkeys((one.name for one in CLASSES), 0)
    for firm_id in firm_ids():
        with firm_scope(firm_id):
            counts = {one.name: _go(one, apply=apply) for one in CLASSES if one.of_firm}
            removed = {name: count for name, count in counts.items() if count}
            if apply and removed:
                access = Access.system(firm_id, "retention command")
                audit.record(access, "retention.apply", object_type="firm",
                             object_id=firm_id, detail=removed)  # fmt: skip
        for name, count in counts.items():
            found[name] += count
    for one in CLASSES:
        if not one.of_firm:
            found[one.name] = _go(one, apply=apply)
    return found


def _go(one: Kept, *, apply: bool) -> int:
    # Table and condition are this module's own constants.
    condition = one.past.format(one.days)
    with connection.cursor() as cursor:
        if apply:
            cursor.execute(f"DELETE FROM {one.table} AS one WHERE {condition}")  # noqa: S608
            return int(cursor.rowcount)
        cursor.execute(f"SELECT count(*) FROM {one.table} AS one WHERE {condition}")  # noqa: S608
        return int(cursor.fetchone()[0])
