"""Writing statements into one household's book, revision upon revision."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from uuid import UUID

from config.problems import BadInput, Problem
from ledger import models as rows
from ledger.core.statement_change import CannotBook, Change, balances_of, change, statement_of
from ledger.mapping import statements_on_file
from ledger.services.batches import StatementBatch
from ledger.services.importing.resolving import Found, Target, number_digest
from planning.access import Access
from planning.core.household_parts import DESTINATIONS
from planning.core.types import Statement
from planning.models import Account


@dataclass(frozen=True, slots=True)
class Booked:
    """What became of one statement of a file."""

    found: Found
    new: int
    here: int
    restates: bool
    periods: tuple[tuple[date, date], ...]

    def words(self) -> str:
        """The act in words, for the trail, stale months and people."""
        if not self.periods:
            return f"{self.found.name}: already here"
        starts, ends = self.periods[0][0], self.periods[-1][1]
        what = "restates" if self.restates else "adds"
        return (
            f"{self.found.name}: {what} {self.found.target.ref} {starts} to {ends}, "
            f"{self.new} new and {self.here} known postings"
        )


class Shelf:
    """One household's statements while files are booked. Its row is locked by the caller."""

    def __init__(self, access: Access, household_id: UUID, reason: str) -> None:
        self.access = access
        self.household_id = household_id
        self.reason = reason
        self.held: dict[UUID, list[Statement]] = {}
        self.position = 0
        accounts = {
            (one.kind, one.ref): one.pk for one in Account.objects.filter(household_id=household_id)
        }
        for one in statements_on_file(household_id):
            account = accounts[one.account_kind, one.value.account]
            self.held.setdefault(account, []).append(one.value)
            self.position = max(self.position, one.position + 1)
        self.investments = {ref for kind, ref in accounts if kind == "investment"}

    def book(self, found: Found) -> Booked:
        """Book a statement where it says something new. Raises BadInput, and writes nothing then.

        A file whose bytes were booked to this account before changes nothing,
        even when a later file restated what it said.
        """
        target, one = found.target, found.parsed
        self._check(found)
        if self._seen(found):
            self._learn(found)
            return Booked(found, 0, len(one.entries), restates=False, periods=())
        held = self.held.setdefault(target.account_id, [])
        try:
            opening, closing = balances_of(one, held)
            value = statement_of(one, target.ref, opening, closing)
            result = change(value, held, target.kind)
        except CannotBook as error:
            problem = _fault(found, 0, error.field, error.message, error.remedy)
            raise BadInput([problem]) from error
        self._write(found, result)
        self._learn(found)
        periods = tuple((book.starts, book.ends) for book in result.book)
        return Booked(found, result.new, result.here, result.restates, periods)

    def _check(self, found: Found) -> None:
        """What a household file would refuse in a statement. Raises BadInput."""
        one, target = found.parsed, found.target
        problems: list[Problem] = []
        for entry in one.entries:
            known = self.investments
            if entry.kind != "transfer-in-kind":
                known = known | {*DESTINATIONS}
            if (entry.kind == "transfer-in-kind" and not entry.to) or (
                entry.to and entry.to not in known
            ):
                problems.append(
                    _fault(
                        found,
                        entry.line,
                        "to",
                        f"{entry.to or 'nowhere'} is not a destination",
                        f"Write it in the plain CSV layout; use: {', '.join(sorted(known))}",
                    )
                )
        for name, cents in (("opening", one.opening_cents), ("closing", one.closing_cents)):
            if target.kind != "line" and cents is not None and cents < 0:
                problems.append(
                    _fault(found, 0, name, f"the {name} balance is negative", "Check the sign")
                )
        if one.limit_cents is not None and one.limit_cents < 0:
            problems.append(_fault(found, 0, "limit", "the limit is negative", "Check the sign"))
        if problems:
            raise BadInput(problems)

    def _seen(self, found: Found) -> bool:
        return rows.Statement.objects.filter(
            account_id=found.target.account_id, source_file__sha256=_digest(found.data)
        ).exists()

    def _write(self, found: Found, result: Change) -> None:
        held = self.held[found.target.account_id]
        source = self._source(found)
        batch = StatementBatch()
        for value in result.book:
            before = (
                rows.Statement.objects.filter(
                    account_id=found.target.account_id, starts=value.starts, ends=value.ends
                )
                .order_by("-revision")
                .first()
            )
            batch.add(self._row(found.target, value, before, source), value)
            held[:] = [s for s in held if (s.starts, s.ends) != (value.starts, value.ends)]
            held.append(value)
        batch.write()

    def _row(
        self,
        target: Target,
        value: Statement,
        before: rows.Statement | None,
        source: rows.SourceFile,
    ) -> rows.Statement:
        position = before.position if before else self.position
        self.position = max(self.position, position + 1)
        return rows.Statement(
            firm_id=self.access.firm_id,
            household_id=self.household_id,
            account_id=target.account_id,
            starts=value.starts,
            ends=value.ends,
            revision=before.revision + 1 if before else 1,
            supersedes=before,
            position=position,
            opening_cents=value.opening_cents,
            closing_cents=value.closing_cents,
            limit_cents=value.limit_cents,
            value_cents=value.value_cents,
            source_file=source,
            reason=self.reason or f"imported from {source.name}",
        )

    def _source(self, found: Found) -> rows.SourceFile:
        """The file, its bytes kept once a household."""
        fresh = rows.SourceFile(
            firm_id=self.access.firm_id,
            household_id=self.household_id,
            name=found.name[-255:],
            sha256=_digest(found.data),
            size=len(found.data),
            format=found.parsed.format,
            content=found.data,
            by_id=self.access.user_id,
        )
        rows.SourceFile.objects.bulk_create([fresh], ignore_conflicts=True)
        kept = rows.SourceFile.objects.filter(household_id=self.household_id, sha256=fresh.sha256)
        return kept.defer("content").get()

    def _learn(self, found: Found) -> None:
        """Remember the account's number, so that the next file finds the account by itself."""
        if not found.parsed.account_hash:
            return
        rows.AccountIdentifier.objects.bulk_create(
            [
                rows.AccountIdentifier(
                    firm_id=self.access.firm_id,
                    household_id=self.household_id,
                    account_id=found.target.account_id,
                    digest=number_digest(self.access.firm_id, found.parsed.account_hash),
                    last4=found.parsed.account_last4,
                )
            ],
            ignore_conflicts=True,
        )


def _digest(data: bytes) -> str:
    return sha256(data).hexdigest()


def _fault(found: Found, line: int, field: str, message: str, remedy: str) -> Problem:
    number = line or found.parsed.line
    return Problem(found.name, f"line {number}, {field}" if number else field, message, remedy)
