"""The drift thresholds a firm's closes use. Reads only; within a firm's scope."""

from __future__ import annotations

from uuid import UUID

from ledger.core.drift.settings import thresholds_from
from ledger.core.drift.thresholds import DEFAULTS, Thresholds
from planning.selectors.firm_settings import settings_in_force

SOURCE = "the firm's thresholds"


def thresholds_in_force(firm_id: UUID) -> Thresholds:
    """The firm's thresholds; the defaults while it has set none.

    Raises BadInput when what is stored is no threshold of this engine.
    """
    row = settings_in_force(firm_id)
    return DEFAULTS if row is None else thresholds_from(row.thresholds, SOURCE)
