"""The page of runs."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from ledger.selectors.runs import closes
from reports.packets.words import RUN_WORDS


def runs_page() -> dict[str, Any]:
    """Every close of the firm in scope with its counts, the latest month first."""
    rows = [_row(one) for one in closes()]
    return {"runs": rows, "busy": any(row["busy"] for row in rows)}


def _row(one: Any) -> dict[str, Any]:
    share = 100 * one.done // one.total if one.total else 0
    return {
        "month": one.month,
        "state": RUN_WORDS[one.state],
        "busy": bool(one.pending or one.running or one.failed),
        "share": share,
        "share_text": _("%(done)s of %(total)s households")
        % {"done": one.done, "total": one.total},
        "waiting": one.waiting + one.pending + one.running,
        "failed": one.failed + one.parked,
        "started": one.recorded_at.date(),
    }
