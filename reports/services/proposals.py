"""Issuing plan proposals: as packets are, from the plan in force."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import transaction

from planning.core.history import Watch
from reports.models import Packet
from reports.packets.proposal import (
    STARTS_EVERY,
    check_proposal,
    proposal_data,
    proposal_input_digest,
)
from reports.selectors.household import plan_to_propose
from reports.services.packets import keep_packet, packet_on_file

KIND = "proposal"


@dataclass(frozen=True, slots=True)
class ProposalRequest:
    """What is asked for. Without a language the household's, without a date the plan's own."""

    ref: str
    language: str | None = None
    as_of: date | None = None
    every: int = STARTS_EVERY


def issue_proposal(*, access: Any, request: ProposalRequest, watch: Watch = tuple) -> Packet:
    """The proposal of a household's plan in force: an equal one on file, or the next version.

    It is queued; `draw_packet` draws it. The date is the day the plan's version was
    put on file unless `as_of` is given, so asking again next week gives the same
    packet. `watch` follows the starts of history (a progress bar). Raises BadInput
    for a household without a plan, PermissionDenied for a role that may not issue,
    and what `access.household` raises for a household that is not to be seen.
    """
    access.require("packet.issue")
    with transaction.atomic():
        found = plan_to_propose(access, request.ref)
        language = request.language or found.row.language
        check_proposal(found.household, language, request.every)
        assert found.on_file is not None
        as_of = request.as_of or found.on_file.recorded
        parts = (found.household, found.on_file, language, as_of, found.traced)
        digest = proposal_input_digest(*parts, every=request.every)
        known = packet_on_file(found.row, KIND, digest)
        if known is not None:
            return known
        data = proposal_data(*parts, every=request.every, watch=watch)
        period = found.on_file.label
        return keep_packet(access=access, row=found.row, kind=KIND, period=period, data=data)
