"""Rows and core values of the ledger's side: the one module that knows both.

`household_value` gives the whole household as the core sees it. The `*_rows`
functions make the rows of one new revision; nothing here writes.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from ledger import models as rows
from planning.core.types import Entry, Evidence, Household, Split, Statement, Use
from planning.mapping import profile_value
from planning.models import Household as HouseholdRow

# In the order of the core's Entry, so that a row reads straight into it.
ENTRY_COLUMNS = (
    "external_id",
    "date",
    "kind",
    "amount_cents",
    "interest_cents",
    "principal_cents",
    "source",
    "of",
    "paid",
    "to",
    "proceeds_cents",
    "cost_fraction",
)


# --- from rows -------------------------------------------------------------------


def household_value(household: HouseholdRow, known_at: datetime | None = None) -> Household:
    """The household as its rows say: current revisions, latest decisions, plan in force.

    `known_at` gives what was on file at that time, so that an earlier close can
    be explained. Within a firm's scope.
    """
    return replace(
        profile_value(household, known_at),
        statements=tuple(one.value for one in statements_on_file(household.pk, known_at)),
        uses=tuple(one.value for one in uses_on_file(household.pk, known_at)),
    )


@dataclass(frozen=True, slots=True)
class StatementOnFile:
    """A current statement: its core value and where it stands."""

    id: UUID
    account_kind: str
    revision: int
    position: int
    value: Statement


@dataclass(frozen=True, slots=True)
class UseOnFile:
    """A current decision about a draw: its core value and where it stands."""

    id: UUID
    revision: int
    position: int
    value: Use


def statements_on_file(
    household_id: UUID, known_at: datetime | None = None
) -> tuple[StatementOnFile, ...]:
    """The current statements of a household, in the order of its file."""
    found = rows.Statement.objects.filter(household_id=household_id).current(known_at)
    entries = _entries(household_id)
    rates = _rates(household_id)
    listed = found.order_by("position", "starts", "account__ref").values_list(
        "pk",
        "account__kind",
        "revision",
        "position",
        "account__ref",
        "starts",
        "ends",
        "opening_cents",
        "closing_cents",
        "limit_cents",
        "value_cents",
    )
    return tuple(
        StatementOnFile(
            pk,
            kind,
            revision,
            position,
            Statement(*held, rates=tuple(rates.get(pk, ())), entries=tuple(entries.get(pk, ()))),
        )
        for pk, kind, revision, position, *held in listed
    )


def _entries(household_id: UUID) -> Mapping[UUID, list[Entry]]:
    found: dict[UUID, list[Entry]] = defaultdict(list)
    listed = rows.StatementEntry.objects.filter(household_id=household_id).order_by("sequence")
    for statement, *columns in listed.values_list("statement_id", *ENTRY_COLUMNS):
        found[statement].append(Entry(*columns))
    return found


def _rates(household_id: UUID) -> Mapping[UUID, list[tuple[date, Decimal]]]:
    found: dict[UUID, list[tuple[date, Decimal]]] = defaultdict(list)
    listed = rows.StatementRate.objects.filter(statement__household_id=household_id)
    for statement, starts, rate in listed.order_by("starts").values_list(
        "statement_id", "starts", "rate"
    ):
        found[statement].append((starts, rate))
    return found


def uses_on_file(household_id: UUID, known_at: datetime | None = None) -> tuple[UseOnFile, ...]:
    """The decisions in force, in the order of the household's file."""
    found = rows.DrawUse.objects.filter(household_id=household_id).current(known_at)
    splits = _splits(household_id)
    listed = found.order_by("position", "draw").values_list("pk", "revision", "position", "draw")
    return tuple(
        UseOnFile(pk, revision, position, Use(draw, tuple(splits.get(pk, ()))))
        for pk, revision, position, draw in listed
    )


def _splits(household_id: UUID) -> Mapping[UUID, list[Split]]:
    papers: dict[UUID, list[Evidence]] = defaultdict(list)
    evidence = rows.EvidenceRef.objects.filter(split__use__household_id=household_id)
    for split, ref, known_on in evidence.order_by("position").values_list(
        "split_id", "ref", "known_on"
    ):
        papers[split].append(Evidence(ref, known_on))
    found: dict[UUID, list[Split]] = defaultdict(list)
    listed = rows.UseSplit.objects.filter(use__household_id=household_id).order_by("position")
    for pk, use, *columns in listed.values_list(
        "pk", "use_id", "amount_cents", "purpose", "to", "of"
    ):
        found[use].append(Split(*columns, evidence=tuple(papers.get(pk, ()))))
    return found


# --- to rows ---------------------------------------------------------------------


def entry_rows(statement: rows.Statement, entries: tuple[Entry, ...]) -> list[rows.StatementEntry]:
    """The postings of a statement revision, in its sequence."""
    return [
        rows.StatementEntry(
            firm_id=statement.firm_id,
            household_id=statement.household_id,
            statement=statement,
            sequence=sequence,
            external_id=one.id,
            **{name: getattr(one, name) for name in ENTRY_COLUMNS[1:]},
        )
        for sequence, one in enumerate(entries)
    ]


def rate_rows(statement: rows.Statement, value: Statement) -> list[rows.StatementRate]:
    """The rates a statement revision states."""
    return [
        rows.StatementRate(firm_id=statement.firm_id, statement=statement, starts=day, rate=rate)
        for day, rate in value.rates
    ]


def split_rows(use: rows.DrawUse, value: Use) -> tuple[list[rows.UseSplit], list[rows.EvidenceRef]]:
    """The splits of a decision and the papers behind them."""
    splits: list[rows.UseSplit] = []
    papers: list[rows.EvidenceRef] = []
    for position, one in enumerate(value.splits):
        split = rows.UseSplit(
            firm_id=use.firm_id,
            use=use,
            position=position,
            amount_cents=one.amount_cents,
            purpose=one.use,
            to=one.to,
            of=one.of,
        )
        splits.append(split)
        papers += [
            rows.EvidenceRef(
                firm_id=use.firm_id, split=split, position=place, ref=paper.ref, known_on=paper.on
            )
            for place, paper in enumerate(one.evidence)
        ]
    return splits, papers
