"""Finding a firm by its name, for commands. People find theirs through their membership."""

from __future__ import annotations

from uuid import UUID

from django.db import connection

from config.database import firm_scope
from config.problems import BadInput, Problem
from planning.models import Firm, Household


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
    raise BadInput(
        [Problem(command, "--firm", f"there is no firm {name!r}", f"Known firms: {names}")]
    )


def firm_of_household(ref: str, firm: str | None, command: str, where: str = "REF") -> Firm:
    """The firm that has a household: the one named, or the only one that knows the reference.

    Raises BadInput when no firm, or more than one, knows it.
    """
    looked_in = firms() if firm is None else (find_firm(firm, command),)
    having = [one for one in looked_in if _knows(one, ref)]
    if len(having) == 1:
        return having[0]
    if having:
        names = ", ".join(one.name for one in having)
        problem = Problem(command, where, f"{ref} is a household of {names}", "Add --firm")
    else:
        place = f" in {looked_in[0].name}" if firm is not None else ""
        problem = Problem(
            command,
            where,
            f"there is no household {ref!r}{place}",
            "Check the reference, or load the household with load_household",
        )
    raise BadInput([problem])


def firm_to_load_into(refs: tuple[str, ...], firm: str | None, command: str) -> Firm | None:
    """Where households are loaded: the firm named, the one that has them, else the home firm.

    The home firm is the first one started on this installation. None when there
    is no firm yet. Raises BadInput when several firms have some of the households.
    """
    if firm is not None:
        return find_firm(firm, command)
    known = firms()
    having = [one for one in known if any(_knows(one, ref) for ref in refs)]
    if len(having) > 1:
        names = ", ".join(one.name for one in having)
        text = f"these households are on file with {names}"
        raise BadInput([Problem(command, "--firm", text, "Add --firm")])
    return (having or known or (None,))[0]


def _knows(firm: Firm, ref: str) -> bool:
    with firm_scope(firm.pk):
        return bool(Household.objects.filter(ref=ref).exists())
