"""An import asked for by command: find the firm, act as the system, answer."""

from __future__ import annotations

from collections.abc import Callable
from uuid import UUID

from config.database import firm_scope
from config.problems import BadInput, Problem
from ledger.services.closing.facts import firm_ids
from ledger.services.importing.running import ImportRequest, ImportResult, import_statements
from planning.access import Access
from planning.models import Firm, Household


def import_for_firm(
    *, request: ImportRequest, firm: str | None, progress: Callable[[], None] | None = None
) -> ImportResult:
    """Import as the system of the firm named, of the household's, or of the only one there is.

    Raises BadInput when that is no firm, or several.
    """
    access = Access.system(_firm(firm, request.household), "import_statements")
    return import_statements(access=access, request=request, progress=progress)


def _firm(firm: str | None, household: str | None) -> UUID:
    """The firm of a request. Raises BadInput."""
    names: dict[UUID, str] = {}
    for firm_id in firm_ids():
        with firm_scope(firm_id):
            names[firm_id] = Firm.objects.get(pk=firm_id).name
            has = household is None or Household.objects.filter(ref=household).exists()
        if firm in (None, names[firm_id], str(firm_id)) and has:
            continue
        names.pop(firm_id)
    if len(names) == 1:
        return next(iter(names))
    if names:
        raise BadInput(
            [_problem("--firm", f"several firms fit: {', '.join(names.values())}", "Add --firm")]
        )
    if household is not None:
        text = f"there is no household {household}" + (f" in {firm}" if firm else "")
        raise BadInput([_problem("--household", text, "Check the reference, or load it first")])
    raise BadInput(
        [_problem("--firm", f"there is no firm {firm or 'yet'}", "Load a household first")]
    )


def _problem(where: str, message: str, remedy: str) -> Problem:
    return Problem("import_statements", where, message, remedy)
