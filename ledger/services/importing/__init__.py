"""Booking statement files: every file of a request, or none of them.

`running.import_statements` is the service; a preview is the same service
rolled back. `import_from_command` finds the firm and acts as its system.
"""

from ledger.services.importing.asking import import_from_command
from ledger.services.importing.running import ImportRequest, ImportResult, import_statements

__all__ = ["ImportRequest", "ImportResult", "import_from_command", "import_statements"]
