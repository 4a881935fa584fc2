"""Named checks of the book, each of which may be run at any time and writes nothing.

`schema`      that the database still refuses what it must refuse
`firm`        a firm's trail
`household`   a household's facts, versions and tracing
"""

from ledger.selectors.checks.findings import CheckFinding
from ledger.selectors.checks.running import CHECKS, Checked, check_book

__all__ = ["CHECKS", "CheckFinding", "Checked", "check_book"]
