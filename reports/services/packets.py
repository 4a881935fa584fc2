"""Issuing packets: snapshot first, bytes after, each kept for good.

Asking twice with the same inputs gives the same packet; other inputs give the
next version. The unique constraints decide, so two workers who ask at once end
with one row.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.db.models.functions import Now

from config import webhooks
from config.audit import record
from config.sending import send_after_commit
from ledger.core.drift.settings import thresholds_json
from ledger.selectors.thresholds import thresholds_in_force
from reports.annual_files import annual_csv, annual_xlsx
from reports.models import Packet
from reports.packets.period import Quarter
from reports.packets.quarterly import default_as_of, quarterly_data
from reports.rendering import TEMPLATE_VERSION, render_packet, toolchain
from reports.selectors.household import household_report

DRAW = "reports.tasks.draw_packet"


class NotClosedError(Exception):
    """Months of the quarter are open, or their facts changed since their close."""

    def __init__(self, open_months: tuple[str, ...], stale_months: tuple[str, ...]) -> None:
        self.open_months = open_months
        self.stale_months = stale_months
        super().__init__(", ".join((*open_months, *stale_months)))


@dataclass(frozen=True, slots=True)
class QuarterlyRequest:
    """What is asked for. Without a language the household's, without a date the default."""

    ref: str
    quarter: Quarter
    language: str | None = None
    as_of: date | None = None


def issue_quarterly(*, access: Any, request: QuarterlyRequest) -> Packet:
    """The packet of a household's quarter: an equal one on file, or the next version, queued.

    Raises NotClosedError when a month of the quarter is not closed or has to be
    closed again, BadInput for a language that is not spoken, and what
    `access.household` raises for a household that is not to be seen.
    """
    quarter = request.quarter
    with transaction.atomic():
        row, household, stored = household_report(access, request.ref, quarter.months[-1])
        closed = {one["month"] for one in stored.report["months"]}
        still_open = tuple(month for month in quarter.months if month not in closed)
        stale = tuple(month for month in quarter.months if month in stored.stale)
        if still_open or stale:
            raise NotClosedError(still_open, stale)
        data = quarterly_data(
            household,
            stored.report,
            quarter.year,
            quarter.number,
            request.language or row.language,
            request.as_of or default_as_of(quarter),
        )
        thresholds = thresholds_json(thresholds_in_force(access.firm_id))
        if thresholds:
            data["thresholds"] = thresholds
        return keep_packet(
            access=access, row=row, kind="quarterly", period=data["period"]["label"], data=data
        )


def keep_packet(*, access: Any, row: Any, kind: str, period: str, data: dict[str, Any]) -> Packet:
    """The packet with this snapshot's inputs: the one on file, or the next version, queued.

    `row` is the household's. What is made now goes into the trail. Belongs inside
    the caller's transaction.
    """
    packet, is_new = _equal_or_next(row, kind, period, data, access)
    if is_new:
        record(
            access,
            "packet.issued",
            object_type="packet",
            object_id=packet.pk,
            detail={"household": row.ref, "kind": kind, "period": packet.period}
            | {"version": packet.version, "inputs": packet.input_digest},
        )
        _announce(packet, row.ref)
    return packet


def request_quarterly(*, access: Any, request: QuarterlyRequest) -> Packet:
    """As `issue_quarterly`; a packet that is not stored yet is sent to a worker to be drawn.

    A lost message is sent again when the same packet is asked for again.
    """
    access.require("packet.issue")
    with access.opened():
        packet = issue_quarterly(access=access, request=request)
        if packet.state != "stored":
            send_after_commit(DRAW, str(packet.firm_id), str(packet.pk), queue="pdf")
    return packet


def _announce(packet: Packet, ref: str) -> None:
    """Tell the firm's own programs, with ids and references alone."""
    refs = {"packet": str(packet.pk), "household": ref, "household_id": str(packet.household_id)}
    refs |= {"period": packet.period, "version": str(packet.version)}
    webhooks.emit(packet.firm_id, [webhooks.Event("packet.issued", str(packet.pk), refs)])


def packet_on_file(row: Any, kind: str, input_digest: str) -> Packet | None:
    """The household's packet of a kind with these inputs under today's templates, if any."""
    return Packet.objects.filter(**_inputs(row, kind, input_digest)).first()


def _inputs(row: Any, kind: str, input_digest: str) -> dict[str, Any]:
    return {
        "household_id": row.pk,
        "kind": kind,
        "input_digest": input_digest,
        "template_version": TEMPLATE_VERSION,
    }


def _equal_or_next(
    row: Any, kind: str, period: str, data: dict[str, Any], access: Any
) -> tuple[Packet, bool]:
    """The packet with these inputs, made now or found; whether it was made now."""
    key = _inputs(row, kind, data["input_digest"])
    series = {
        "household_id": row.pk,
        "kind": kind,
        "period": period,
        "language": data["language"],
    }
    while True:
        found = Packet.objects.filter(**key).first()
        if found is not None:
            return found, False
        latest = Packet.objects.filter(**series).aggregate(Max("version"))["version__max"] or 0
        packet = Packet(
            firm_id=row.firm_id,
            **key,
            period=series["period"],
            language=series["language"],
            version=latest + 1,
            as_of=data["as_of"],
            snapshot=data,
            by_id=access.user_id,
        )
        try:
            with transaction.atomic():
                packet.save(force_insert=True)
        except IntegrityError:
            continue  # another worker was first: theirs is found, or ours takes the next number
        return packet, True


def draw_packet(*, access: Any, packet_id: Any) -> Packet:
    """Draw a packet's bytes from its snapshot and keep them; a stored one stays as it is.

    The drawing itself runs outside any lock: two workers who draw the same
    snapshot get the same bytes, and the first to store them is final. A snapshot
    that cannot be drawn is parked with the reason, which is raised on.
    """
    packet = Packet.objects.get(pk=packet_id)
    if packet.state == "stored":
        return packet
    unfinished = Packet.objects.filter(pk=packet_id).exclude(state="stored")
    unfinished.update(state="rendering", error="")
    try:
        pdf = render_packet(packet.snapshot)
        beside = _beside(packet)
    except Exception as failed:
        unfinished.update(state="parked", error=f"{type(failed).__name__}: {failed}"[:500])
        raise
    with transaction.atomic():
        stored = unfinished.update(
            state="stored",
            error="",
            pdf=pdf,
            pdf_sha256=hashlib.sha256(pdf).hexdigest(),
            toolchain=toolchain(),
            **beside,
            stored_at=Now(),
        )
        packet.refresh_from_db()
        if stored:
            record(
                access,
                "packet.stored",
                object_type="packet",
                object_id=packet.pk,
                detail={"sha256": packet.pdf_sha256},
            )
    return packet


def _beside(packet: Packet) -> dict[str, Any]:
    """The workbook and the tables of an annual packet; nothing for other kinds."""
    if packet.kind != "annual":
        return {}
    xlsx, tables = annual_xlsx(packet.snapshot), annual_csv(packet.snapshot)
    return {
        "xlsx": xlsx,
        "xlsx_sha256": hashlib.sha256(xlsx).hexdigest(),
        "tables": tables,
        "tables_sha256": hashlib.sha256(tables).hexdigest(),
    }
