"""Finding a firm by its name, for commands. People find theirs through their membership."""

from __future__ import annotations

from uuid import UUID

from django.db import connection

from config.database import firm_scope
from config.problems import BadInput, Problem
from planning.models import Firm


def firm_ids() -> tuple[UUID, ...]:
    """Every firm's id, oldest first; needs no scope and tells nothing else."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM towpath_firm_ids()")
        return tuple(row[0] for row in cursor.fetchall())


def firms() -> tuple[Firm, ...]:
    """Every firm, each read in its own scope."""
    found: list[Firm] = []
    for firm_id in firm_ids():
        with firm_scope(firm_id):
            found += Firm.objects.filter(pk=firm_id)
    return tuple(found)


def find_firm(name: str | None, command: str) -> Firm:
    """The firm of a name or id; without one, the only firm there is. Raises BadInput."""
    known = firms()
    names = ", ".join(one.name for one in known) or "(none yet)"
    if name is None:
        if len(known) == 1:
            return known[0]
        message = "there is no firm yet" if not known else "there are several firms"
        remedy = "Add --create-firm NAME to load_household" if not known else f"Name one: {names}"
        raise BadInput([Problem(command, "--firm", message, remedy)])
    for one in known:
        if name in (one.name, str(one.pk)):
            return one
    raise BadInput([Problem(command, "--firm", f"there is no firm {name!r}", f"Known: {names}")])
