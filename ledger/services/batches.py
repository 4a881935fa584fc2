"""New revisions of statements and decisions with all that hangs on them, written in few inserts."""

from __future__ import annotations

from ledger import models as rows
from ledger.mapping import entry_rows, rate_rows, split_rows
from planning.core.types import Statement, Use


class StatementBatch:
    """Statement revisions with their rates and postings, written together."""

    def __init__(self) -> None:
        self.rows: list[rows.Statement] = []
        self.rates: list[rows.StatementRate] = []
        self.entries: list[rows.StatementEntry] = []

    def add(self, row: rows.Statement, value: Statement | None) -> None:
        """Take a revision; one without a value withdraws its period."""
        self.rows.append(row)
        if value is not None:
            self.rates += rate_rows(row, value)
            self.entries += entry_rows(row, value.entries)

    def write(self) -> None:
        """Insert them all."""
        rows.Statement.objects.bulk_create(self.rows, batch_size=2000)
        rows.StatementRate.objects.bulk_create(self.rates, batch_size=4000)
        rows.StatementEntry.objects.bulk_create(self.entries, batch_size=2000)


class UseBatch:
    """Decisions with their splits and papers, written together."""

    def __init__(self) -> None:
        self.rows: list[rows.DrawUse] = []
        self.splits: list[rows.UseSplit] = []
        self.papers: list[rows.EvidenceRef] = []

    def add(self, row: rows.DrawUse, value: Use | None) -> None:
        """Take a decision; one without a value takes the claim back."""
        self.rows.append(row)
        if value is not None:
            splits, papers = split_rows(row, value)
            self.splits += splits
            self.papers += papers

    def write(self) -> None:
        """Insert them all."""
        rows.DrawUse.objects.bulk_create(self.rows, batch_size=2000)
        rows.UseSplit.objects.bulk_create(self.splits, batch_size=2000)
        rows.EvidenceRef.objects.bulk_create(self.papers, batch_size=2000)
