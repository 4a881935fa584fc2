"""An import asked for by command: find the firm, act as the system, answer."""

from __future__ import annotations

from collections.abc import Callable

from ledger.core.formats.types import ReadOptions
from ledger.services.importing.running import ImportRequest, ImportResult, import_statements
from planning.access import Access
from planning.models import Firm
from planning.selectors.firms import find_firm, firm_of_household

COMMAND = "import_statements"


def import_for_firm(
    *, request: ImportRequest, firm: str | None, progress: Callable[[], None] | None = None
) -> ImportResult:
    """Import as the system of the firm named, of the household's, or of the only one there is.

    Raises BadInput when that is no firm, or several.
    """
    access = Access.system(_firm(firm, request.household).pk, COMMAND)
    return import_statements(access=access, request=request, progress=progress)


def import_from_command(
    *,
    files: tuple[tuple[str, bytes], ...],
    read_options: ReadOptions,
    firm: str | None,
    household: str | None,
    account: str | None,
    dry_run: bool,
) -> list[dict[str, object]]:
    """Import files given as (name, bytes) and answer as the command does, one object a statement.

    Problems of the files are in the answers. Raises BadInput as `import_for_firm` does.
    """
    request = ImportRequest(
        files=files, options=read_options, household=household, account=account, dry_run=dry_run
    )
    return list(import_for_firm(request=request, firm=firm).answers)


def _firm(name: str | None, household: str | None) -> Firm:
    """The firm of a request: by name, else the one that has the household. Raises BadInput."""
    if household is None:
        return find_firm(name, COMMAND)
    return firm_of_household(household, name, COMMAND, "--household")
