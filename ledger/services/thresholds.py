"""Setting a firm's drift thresholds: a new version, and every closed month looked at again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import IntegrityError, transaction

from config import audit
from config.problems import BadInput, Problem
from ledger.core.drift.settings import thresholds_from, thresholds_json
from ledger.services.closing.staleness import mark_firm_stale
from planning.access import Access
from planning.models import FirmSettings
from planning.selectors.firm_settings import settings_in_force

PLACE = "thresholds"
REASON_LENGTH = 500


def set_thresholds(
    *, access: Access, values: Mapping[str, Any], reason: str, seen: int | None = None
) -> FirmSettings | None:
    """Put thresholds in force for the whole firm; what `values` leaves out is the default.

    `values` are written as the firm keeps them: amounts and shares as decimal
    strings, days, months and years as whole numbers. `seen` is the number of
    the version the person looked at (0 for none): when somebody else wrote one
    meanwhile, nothing is written. The same values again write nothing. Closed
    months are marked and closed anew with the new thresholds.

    Returns the version in force, None when the defaults were never left.
    Raises BadInput with every fault, PermissionDenied when the role may not.
    """
    access.require("firm.edit")
    wanted = _checked(values, reason)
    with access.opened(), transaction.atomic():
        held = settings_in_force(access.firm_id)
        number = held.number if held else 0
        if (held.thresholds if held else {}) == wanted:
            return held
        if seen is not None and seen != number:
            raise BadInput([_overtaken()])
        row = _insert(access, number + 1, wanted, reason.strip())
        marked = mark_firm_stale(reason=f"thresholds changed: {reason.strip()}")
        audit.record(
            access,
            "firm.thresholds",
            object_type="firm",
            object_id=access.firm_id,
            detail={
                "number": row.number,
                "reason": row.reason,
                "before": held.thresholds if held else {},
                "after": wanted,
                "months": marked,
            },
        )
        return row


def _checked(values: Mapping[str, Any], reason: str) -> dict[str, Any]:
    """What differs from the defaults. Raises BadInput with every fault of values and reason."""
    problems: list[Problem] = []
    wanted: dict[str, Any] = {}
    try:
        wanted = thresholds_json(thresholds_from(values, PLACE))
    except BadInput as error:
        problems += error.problems
    if not reason.strip():
        problems.append(Problem(PLACE, "reason", "a change needs a reason", "Say why in a line"))
    elif len(reason.strip()) > REASON_LENGTH:
        text = f"the reason is longer than {REASON_LENGTH} characters"
        problems.append(Problem(PLACE, "reason", text, "Shorten it"))
    if problems:
        raise BadInput(problems)
    return wanted


def _insert(access: Access, number: int, wanted: dict[str, Any], reason: str) -> FirmSettings:
    """The new version; the unique number lets one of two writers win."""
    try:
        with transaction.atomic():
            return FirmSettings.objects.create(
                firm_id=access.firm_id,
                number=number,
                thresholds=wanted,
                reason=reason,
                by_id=access.user_id,
            )
    except IntegrityError as taken:
        raise BadInput([_overtaken()]) from taken


def _overtaken() -> Problem:
    return Problem(
        PLACE,
        "version",
        "somebody changed the thresholds meanwhile",
        "Look at the present values and change them again",
    )
