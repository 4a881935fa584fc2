"""Draws with what is known of their use: for the pages where people decide."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal
from uuid import UUID

from ledger import models as rows
from ledger.core.close import latest_month
from ledger.core.decision import DecisionEffect, decision_effect, drawing
from ledger.core.facts import Fact
from ledger.core.trace_types import DrawTrace
from ledger.core.tracing import trace
from ledger.mapping import household_value
from ledger.selectors.thresholds import thresholds_in_force
from planning.access import Access, NotVisibleError
from planning.core.months import last_day
from planning.core.types import Evidence, Household, Split

Missing = Literal["use", "rest", "paper", "file"]


@dataclass(frozen=True, slots=True)
class DrawOnFile:
    """A draw, fee, opening or adjustment as it stands on the facts on file now.

    `papers` counts the files kept for it. `missing`: `use` when none is
    claimed, `rest` when the splits leave some of it out, `paper` when a claim
    lacks evidence, `file` when evidence is named of which no file is kept.
    """

    traced: DrawTrace
    claimed: int
    papers: int
    missing: tuple[Missing, ...]


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper in force, without its bytes."""

    id: UUID
    ref: str
    name: str
    kind: str
    size: int
    sha256: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Decision:
    """One revision of what was decided about a draw."""

    revision: int
    withdrawn: bool
    reason: str
    by: str
    at: datetime
    splits: tuple[Split, ...]


@dataclass(frozen=True, slots=True)
class DrawToDecide:
    """All that the page of one draw shows."""

    household: Household
    fact: Fact
    on_file: DrawOnFile | None
    papers: tuple[Paper, ...]
    withdrawn: tuple[Paper, ...]
    decisions: tuple[Decision, ...]

    @property
    def revision(self) -> int:
        """The newest decision's number; 0 before the first."""
        return self.decisions[0].revision if self.decisions else 0

    @property
    def splits(self) -> tuple[Split, ...]:
        """What is claimed now."""
        return self.decisions[0].splits if self.decisions else ()


def draws_on_file(access: Access, ref: str) -> tuple[Household, tuple[DrawOnFile, ...]]:
    """Every draw of a household in view, the oldest first. Raises NotVisibleError."""
    row = access.household(ref)
    household = household_value(row)
    return household, _draws(household, row.pk)


def _draws(household: Household, household_id: UUID) -> tuple[DrawOnFile, ...]:
    month = latest_month(household)
    if month is None:
        return ()
    claims = {one.draw: one.splits for one in household.uses}
    kept = _files(household_id)
    found = [
        _on_file(one, claims.get(one.id, ()), kept)
        for one in trace(household, last_day(month)).draws
    ]
    return tuple(sorted(found, key=lambda one: (one.traced.on, one.traced.line)))


@dataclass(frozen=True, slots=True)
class _Files:
    by_ref: Mapping[str, int]
    by_draw: Mapping[str, frozenset[str]]


def _files(household_id: UUID) -> _Files:
    found = rows.EvidencePaper.objects.filter(household_id=household_id).current()
    by_draw: dict[str, set[str]] = defaultdict(set)
    by_ref: Counter[str] = Counter()
    for ref, draw in found.values_list("ref", "draw"):
        by_ref[ref] += 1
        by_draw[draw].add(ref)
    return _Files(by_ref, {draw: frozenset(refs) for draw, refs in by_draw.items() if draw})


def _on_file(one: DrawTrace, splits: tuple[Split, ...], kept: _Files) -> DrawOnFile:
    named = {paper.ref for split in splits for paper in split.evidence}
    refs = named | kept.by_draw.get(one.id, frozenset())
    claimed = sum(split.amount_cents for split in splits)
    missing: list[Missing] = []
    if not splits and one.kind != "fee":
        missing.append("use")
    elif splits and claimed < one.amount:
        missing.append("rest")
    if splits and any(
        split.classes[1] and split.supported_by is None and split.use != "line-interest"
        for split in one.splits
    ):
        missing.append("paper")
    if any(not kept.by_ref.get(ref) for ref in named):
        missing.append("file")
    papers = sum(kept.by_ref.get(ref, 0) for ref in refs)
    return DrawOnFile(one, claimed, papers, tuple(missing))


def draw_to_decide(access: Access, ref: str, draw: str) -> DrawToDecide:
    """One draw with its decisions, newest first, and papers. Raises NotVisibleError."""
    row = access.household(ref)
    household = household_value(row)
    fact = drawing(household, draw)
    if fact is None:
        raise NotVisibleError("no such draw")
    decisions = _decisions(row.pk, draw)
    named = {paper.ref for one in decisions for split in one.splits for paper in split.evidence}
    in_force, gone = _papers(row.pk, draw, named) if access.can("evidence.view") else ((), ())
    on_file = next((one for one in _draws(household, row.pk) if one.traced.id == draw), None)
    return DrawToDecide(household, fact, on_file, in_force, gone, decisions)


def _decisions(household_id: UUID, draw: str) -> tuple[Decision, ...]:
    found = rows.DrawUse.objects.filter(household_id=household_id, draw=draw)
    listed = list(found.select_related("by").order_by("-revision"))
    papers: dict[UUID, list[Evidence]] = defaultdict(list)
    evidence = rows.EvidenceRef.objects.filter(split__use__in=[one.pk for one in listed])
    for split, name, known_on in evidence.order_by("position").values_list(
        "split_id", "ref", "known_on"
    ):
        papers[split].append(Evidence(name, known_on))
    splits: dict[UUID, list[Split]] = defaultdict(list)
    kept = rows.UseSplit.objects.filter(use__in=[one.pk for one in listed]).order_by("position")
    for pk, use, *columns in kept.values_list(
        "pk", "use_id", "amount_cents", "purpose", "to", "of"
    ):
        splits[use].append(Split(*columns, evidence=tuple(papers.get(pk, ()))))
    return tuple(
        Decision(
            one.revision,
            one.withdrawn,
            one.reason,
            one.by.email if one.by else "",
            one.recorded_at,
            tuple(splits.get(one.pk, ())),
        )
        for one in listed
    )


def _papers(
    household_id: UUID, draw: str, named: set[str]
) -> tuple[tuple[Paper, ...], tuple[Paper, ...]]:
    """The papers of a draw in force and those taken back, by when they came."""
    every = rows.EvidencePaper.objects.filter(household_id=household_id)
    mine = every.filter(ref__in=named) | every.filter(draw=draw)
    later = {pk for pk in mine.values_list("supersedes_id", flat=True) if pk is not None}
    listed = mine.select_related("content", "by").defer("content__content")
    newest = [one for one in listed.order_by("recorded_at", "pk") if one.pk not in later]
    return (
        tuple(_paper(one) for one in newest if not one.withdrawn),
        tuple(_paper(one) for one in newest if one.withdrawn),
    )


def _paper(one: rows.EvidencePaper) -> Paper:
    return Paper(
        id=one.pk,
        ref=one.ref,
        name=one.name,
        kind=one.content.kind,
        size=one.content.size,
        sha256=one.content.sha256,
        by=one.by.email if one.by else "",
        at=one.recorded_at,
    )


def paper_with_bytes(access: Access, ref: str, paper_id: UUID) -> rows.EvidencePaper:
    """A paper of a household in view, its bytes included; one taken back too, as a record.

    Raises NotVisibleError, PermissionDenied when the role may not.
    """
    access.require("evidence.view")
    row = access.household(ref)
    found = rows.EvidencePaper.objects.filter(household=row, pk=paper_id)
    paper = found.select_related("content").first()
    if paper is None:
        raise NotVisibleError("no such paper")
    return paper


def effect_of_use(access: Access, ref: str, draw: str, splits: tuple[Split, ...]) -> DecisionEffect:
    """What deciding like this would change. Writes nothing. Raises BadInput, NotVisibleError."""
    access.require("use.decide")
    row = access.household(ref)
    thresholds = thresholds_in_force(access.firm_id)
    return decision_effect(household_value(row), draw, splits, thresholds=thresholds)


def account_choices(household: Household) -> tuple[tuple[str, str], ...]:
    """Every account a split may name, with its kind: investments first, then lines."""
    return (
        *((one.ref, one.kind) for one in household.investments),
        *((one.ref, "line") for one in household.lines),
    )


def papers_on_file(household_id: UUID) -> list[dict[str, str]]:
    """Every paper of a household in force, for an index: its id, draw, name, kind, SHA-256."""
    every = rows.EvidencePaper.objects.filter(household_id=household_id)
    later = {pk for pk in every.values_list("supersedes_id", flat=True) if pk is not None}
    listed = every.filter(withdrawn=False).order_by("ref", "recorded_at", "pk")
    fields = ("pk", "ref", "draw", "name", "content__kind", "content__sha256")
    return [
        {"ref": ref, "draw": draw, "name": name, "kind": kind, "sha256": sha256}
        for pk, ref, draw, name, kind, sha256 in listed.values_list(*fields)
        if pk not in later
    ]
