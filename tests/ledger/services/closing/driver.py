"""One act of the close in a process of its own, for tests that end processes.

python -m tests.ledger.services.closing.driver close|schedule|sweep FIRM HOUSEHOLD
"""

from __future__ import annotations

import sys
from uuid import UUID

import django


def main(act: str, firm: str, household: str) -> None:
    """Run one act for a firm."""
    django.setup()
    from config.database import firm_scope
    from ledger.services.closing import running, scheduling, sweeping

    firm_id, household_id = UUID(firm), UUID(household)
    if act == "schedule":
        with firm_scope(firm_id):
            scheduling.schedule_due(firm_id)
    elif act == "sweep":
        sweeping.sweep_firm(firm_id)
    else:
        assert act == "close"
        running.run_household(firm_id=firm_id, household_id=household_id)


if __name__ == "__main__":
    main(*sys.argv[1:])
