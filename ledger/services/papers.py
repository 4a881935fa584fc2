"""Handing papers in and taking them back. Nothing is ever deleted.

The bytes are kept once in a firm; a paper says whose they are and by which
evidence id decisions name it. Handing the same paper in again changes nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from uuid import UUID

from django.db import transaction

from config import audit
from config.problems import BadInput, Problem
from ledger import models as rows
from ledger.core.paper_kinds import NotAPaperError, shown_name
from ledger.mapping import household_value
from ledger.paper_files import looked_through
from ledger.services.uses import drop_paper
from planning.access import Access, NotVisibleError
from planning.core.json_reader import Faults, Node
from planning.models import Household as HouseholdRow

MOST_FILES = 10
REMEDY = "Hand in a PDF, a PNG or JPEG picture, or plain text of at most 10 MB"


@dataclass(frozen=True, slots=True)
class _Read:
    name: str
    kind: str
    digest: str
    content: bytes


def attach_evidence(
    *,
    access: Access,
    ref: str,
    files: Sequence[tuple[str, bytes]],
    draw: str = "",
    evidence: str = "",
    reason: str = "",
) -> tuple[rows.EvidencePaper, ...]:
    """Keep papers of a household, given as (name, bytes): all of them or none.

    `evidence` is the id that decisions name them by; left out, each paper gets
    one of its own, "paper-" and the beginning of its SHA-256. `draw` is the
    entry they were handed in for. A paper that is on file under its id already
    comes back as it is. A decision is not changed by this.

    Raises BadInput with every fault of every file, NotVisibleError when the
    household is not in view, PermissionDenied when the role may not.
    """
    access.require("evidence.add")
    name = _evidence_id(evidence.strip())
    with access.opened(), transaction.atomic():
        household = access.household(ref, lock=True)
        read = _read_all(files)
        fresh: list[rows.EvidencePaper] = []
        papers = tuple(
            _keep(access, household, one, name or f"paper-{one.digest[:12]}", draw, reason, fresh)
            for one in read
        )
        if fresh:
            audit.record(
                access,
                "evidence.add",
                object_type="household",
                object_id=household.pk,
                detail={
                    "draw": draw,
                    "reason": reason,
                    "papers": [{"id": one.ref, "sha256": one.content.sha256} for one in fresh],
                },
            )
        return papers


def _evidence_id(text: str) -> str:
    if not text:
        return ""
    faults = Faults("evidence")
    Node(text, "id", faults).text()
    faults.stop_if_any()
    return text


def _read_all(files: Sequence[tuple[str, bytes]]) -> list[_Read]:
    if not files or len(files) > MOST_FILES:
        text = f"{len(files)} files were handed in"
        raise BadInput([Problem("", "", text, f"Hand in 1 to {MOST_FILES} at a time")])
    read: dict[str, _Read] = {}
    problems: list[Problem] = []
    for name, content in files:
        shown = shown_name(name)
        try:
            kind = looked_through(content)
        except NotAPaperError as error:
            problems.append(Problem(shown, "", str(error), REMEDY))
            continue
        digest = sha256(content).hexdigest()
        read.setdefault(digest, _Read(shown, kind, digest, content))
    if problems:
        raise BadInput(problems)
    return list(read.values())


def _keep(
    access: Access,
    household: HouseholdRow,
    one: _Read,
    ref: str,
    draw: str,
    reason: str,
    fresh: list[rows.EvidencePaper],
) -> rows.EvidencePaper:
    content = rows.EvidenceContent(
        firm_id=access.firm_id,
        sha256=one.digest,
        kind=one.kind,
        size=len(one.content),
        content=one.content,
    )
    rows.EvidenceContent.objects.bulk_create([content], ignore_conflicts=True)
    kept = rows.EvidenceContent.objects.defer("content").get(
        firm_id=access.firm_id, sha256=one.digest
    )
    listed = rows.EvidencePaper.objects.filter(household=household, ref=ref, content=kept)
    last = listed.order_by("-revision").first()
    if last is not None and not last.withdrawn:
        last.content = kept
        return last
    paper = rows.EvidencePaper(
        firm_id=access.firm_id,
        household=household,
        content=kept,
        ref=ref,
        draw=draw,
        name=one.name,
        revision=last.revision + 1 if last else 1,
        supersedes=last,
        reason=reason,
        by_id=access.user_id,
    )
    paper.save(force_insert=True)
    fresh.append(paper)
    return paper


def withdraw_evidence(
    *, access: Access, ref: str, paper_id: UUID, reason: str
) -> rows.EvidencePaper:
    """Take a paper back by a row that says why.

    When no other paper is left under its id, every decision in force that
    names the id is decided anew without it, so that nothing stays deducted on a
    paper that is no paper. A paper taken back already comes back as it is.

    Raises ValueError without a reason, NotVisibleError when there is no such
    paper in view, PermissionDenied when the role may not.
    """
    access.require("use.decide")
    if not reason.strip():
        raise ValueError("Taking a paper back needs a reason")
    with access.opened(), transaction.atomic():
        household = access.household(ref, lock=True)
        asked = rows.EvidencePaper.objects.filter(household=household, pk=paper_id).first()
        if asked is None:
            raise NotVisibleError("no such paper")
        same = rows.EvidencePaper.objects.filter(
            household=household, ref=asked.ref, content_id=asked.content_id
        )
        last = same.order_by("-revision")[0]
        if last.withdrawn:
            return last
        gone = rows.EvidencePaper(
            firm_id=access.firm_id,
            household=household,
            content_id=last.content_id,
            ref=last.ref,
            draw=last.draw,
            name=last.name,
            revision=last.revision + 1,
            supersedes=last,
            withdrawn=True,
            reason=reason.strip(),
            by_id=access.user_id,
        )
        gone.save(force_insert=True)
        left = rows.EvidencePaper.objects.filter(household=household, ref=last.ref).current()
        draws: tuple[str, ...] = ()
        if not left.exists():
            draws = drop_paper(access, household, household_value(household), last.ref, reason)
        audit.record(
            access,
            "evidence.withdraw",
            object_type="household",
            object_id=household.pk,
            detail={"paper": last.ref, "reason": reason.strip(), "draws": list(draws)},
        )
        return gone
