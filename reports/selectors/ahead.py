"""Many households at once, as much of each as looking ahead needs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any
from uuid import UUID

from ledger.models import Statement as StatementRow
from planning.core.types import Household, Statement
from planning.mapping import profile_value

_FIGURES = ("starts", "ends", "opening_cents", "closing_cents", "limit_cents", "value_cents")


def households_ahead(rows: Sequence[Any]) -> Iterator[tuple[Any, Household]]:
    """Each household's row and its value: people, accounts, plan and statements' balances.

    Within the firm's scope. Entries, rates and uses are left out: a plan that
    is played on starts from balances, and reading every posting of a whole book
    would take the most of a minute.
    """
    statements: dict[UUID, list[Statement]] = defaultdict(list)
    found = StatementRow.objects.filter(household_id__in=[row.pk for row in rows]).current()
    listed = found.order_by("position", "starts", "account__ref")
    for household_id, *held in listed.values_list("household_id", "account__ref", *_FIGURES):
        statements[household_id].append(Statement(*held, rates=(), entries=()))
    for row in rows:
        yield row, replace(profile_value(row), statements=tuple(statements[row.pk]))
