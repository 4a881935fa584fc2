"""Taking a household file into the book: whole or not at all, and never twice.

The file is the whole truth about its household. What differs from what is on
file becomes a new version or revision; what the file no longer holds is
withdrawn by one. Nothing is edited, and the same file again changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from uuid import UUID

from django.db import transaction

from config import audit
from config.problems import BadInput, Problem
from ledger import models as rows
from ledger.core.evaluation import read_checked
from ledger.mapping import statements_on_file, uses_on_file
from ledger.services.batches import StatementBatch, UseBatch
from planning.access import Access
from planning.core.types import Household, Statement
from planning.mapping import account_keys
from planning.services.households import account_ids, store_profile

Key = tuple[UUID, date, date]
"""A statement's account and period."""


@dataclass(frozen=True, slots=True)
class Loaded:
    """What loading one household file did. No `changes`: it was on file already."""

    household_id: UUID
    ref: str
    created: bool
    changes: tuple[str, ...]
    earliest: date | None

    @property
    def changed(self) -> bool:
        """Whether anything was written."""
        return bool(self.changes)


def load_households(
    *, access: Access, files: Iterable[tuple[str, bytes]], reason: str = "", language: str = "en"
) -> tuple[Loaded, ...]:
    """Load household files given as (name, bytes): all of them or none.

    Raises BadInput with every problem of every file; nothing is written then.
    """
    access.require("household.edit")
    read: list[tuple[str, bytes, Household]] = []
    problems: list[Problem] = []
    for name, content in files:
        try:
            read.append((name, content, read_file(name, content)))
        except BadInput as error:
            problems += error.problems
    problems += _repeated(read)
    if problems:
        raise BadInput(problems)
    with access.opened(), transaction.atomic():
        return tuple(
            load_household(
                access=access,
                value=value,
                name=name,
                content=content,
                reason=reason,
                language=language,
            )
            for name, content, value in read
        )


def read_file(name: str, content: bytes) -> Household:
    """A checked household from a file's bytes. Raises BadInput."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        problem = Problem(
            name, f"byte {error.start}", "the text is not UTF-8", "Save the file as UTF-8"
        )
        raise BadInput([problem]) from error
    return read_checked(text, name)


def _repeated(read: list[tuple[str, bytes, Household]]) -> list[Problem]:
    seen: dict[str, str] = {}
    found: list[Problem] = []
    for name, _, value in read:
        if value.ref in seen:
            found.append(
                Problem(
                    name,
                    "household.ref",
                    f"{value.ref!r} is also the household of {seen[value.ref]}",
                    "Load one file a household",
                )
            )
        seen[value.ref] = name
    return found


def load_household(
    *,
    access: Access,
    value: Household,
    name: str,
    content: bytes,
    reason: str = "",
    language: str = "en",
) -> Loaded:
    """Load one checked household, in one transaction with its trail.

    `content` is kept as the source of what it led to.
    """
    access.require("household.edit")
    reason = reason or f"loaded from {name}"
    with access.opened(), transaction.atomic():
        stored = store_profile(access=access, value=value, reason=reason, language=language)
        book = _Book(access, stored.household.pk, name, content, reason)
        changes = [*stored.changes, *book.statements(value), *book.uses(value)]
        earliest = None
        if changes:
            book.source()
            earliest = _earliest(value, book, undated=bool(stored.changes) or book.uses_moved)
            if not stored.created and earliest is not None:
                _mark_stale(stored.household.pk, earliest, reason)
            audit.record(
                access,
                "household.load",
                object_type="household",
                object_id=stored.household.pk,
                detail={
                    "ref": value.ref,
                    "file": name,
                    "reason": reason,
                    "changes": changes,
                    "moved": stored.moved,
                },
            )
        return Loaded(
            household_id=stored.household.pk,
            ref=value.ref,
            created=stored.created,
            changes=tuple(changes),
            earliest=earliest,
        )


def _earliest(value: Household, book: _Book, *, undated: bool) -> date | None:
    """The first day that what changed can bear upon: undated facts count from the start."""
    dates = list(book.moved)
    if undated:
        dates += [one.starts for one in value.statements]
    return min(dates, default=None)


def _mark_stale(household_id: UUID, day: date, reason: str) -> None:
    from ledger.services.closing.staleness import mark_stale

    mark_stale(household_id=household_id, month=day, reason=reason)


class _Book:
    """A household's statements and uses while a file is being loaded into them."""

    def __init__(
        self, access: Access, household_id: UUID, name: str, content: bytes, reason: str
    ) -> None:
        self.access = access
        self.household_id = household_id
        self.name = name
        self.content = content
        self.reason = reason
        self.moved: list[date] = []
        self.uses_moved = False
        self._source: rows.SourceFile | None = None

    def source(self) -> rows.SourceFile:
        """The file, kept once."""
        if self._source is None:
            digest = sha256(self.content).hexdigest()
            fresh = rows.SourceFile(
                firm_id=self.access.firm_id,
                household_id=self.household_id,
                name=self.name[-255:],
                sha256=digest,
                size=len(self.content),
                format="household",
                content=self.content,
                by_id=self.access.user_id,
            )
            rows.SourceFile.objects.bulk_create([fresh], ignore_conflicts=True)
            kept = rows.SourceFile.objects.filter(household_id=self.household_id, sha256=digest)
            self._source = kept.defer("content").get()
        return self._source

    def statements(self, value: Household) -> list[str]:
        """Add, revise and withdraw statements; what was done, in words."""
        kinds = {ref: kind for kind, ref in account_keys(value)}
        ids = account_ids(self.household_id)
        held = {
            (ids[one.account_kind, one.value.account], one.value.starts, one.value.ends): one
            for one in statements_on_file(self.household_id)
        }
        wanted: dict[Key, tuple[int, Statement]] = {
            (ids[kinds[one.account], one.account], one.starts, one.ends): (position, one)
            for position, one in enumerate(value.statements)
        }
        latest = self._latest_revisions() if held.keys() != wanted.keys() else {}
        batch = StatementBatch()
        counts = {"added": 0, "revised": 0, "withdrawn": 0}
        for key, (position, one) in wanted.items():
            before = held.get(key)
            if before is not None and before.value == one:
                continue
            pk, revision = (before.id, before.revision) if before else latest.get(key, (None, 0))
            place = before.position if before else position
            batch.add(self._statement(key, one, place, revision + 1, pk), one)
            counts["revised" if before else "added"] += 1
        for key, gone in held.items():
            if key not in wanted:
                row = self._statement(key, gone.value, gone.position, gone.revision + 1, gone.id)
                row.withdrawn = True
                batch.add(row, None)
                counts["withdrawn"] += 1
        self.moved += [row.starts for row in batch.rows]
        batch.write()
        return _words(counts, "statement")

    def _latest_revisions(self) -> dict[Key, tuple[UUID, int]]:
        """The latest revision of every period there ever was, withdrawn ones included."""
        listed = rows.Statement.objects.filter(household_id=self.household_id).order_by("revision")
        return {
            (account, starts, ends): (pk, revision)
            for account, starts, ends, pk, revision in listed.values_list(
                "account_id", "starts", "ends", "pk", "revision"
            )
        }

    def _statement(
        self, key: Key, one: Statement, position: int, revision: int, supersedes: UUID | None
    ) -> rows.Statement:
        account, starts, ends = key
        return rows.Statement(
            firm_id=self.access.firm_id,
            household_id=self.household_id,
            account_id=account,
            starts=starts,
            ends=ends,
            revision=revision,
            supersedes_id=supersedes,
            position=position,
            opening_cents=one.opening_cents,
            closing_cents=one.closing_cents,
            limit_cents=one.limit_cents,
            value_cents=one.value_cents,
            source_file=self.source(),
            reason=self.reason,
        )

    def uses(self, value: Household) -> list[str]:
        """Add, revise and withdraw decisions; what was done, in words."""
        held = {one.value.draw: one for one in uses_on_file(self.household_id)}
        wanted = {one.draw: (position, one) for position, one in enumerate(value.uses)}
        latest: dict[str, tuple[UUID, int]] = {}
        if held.keys() != wanted.keys():
            listed = rows.DrawUse.objects.filter(household_id=self.household_id)
            latest = {
                draw: (pk, revision)
                for draw, pk, revision in listed.order_by("revision").values_list(
                    "draw", "pk", "revision"
                )
            }
        batch = UseBatch()
        counts = {"added": 0, "revised": 0, "withdrawn": 0}
        for draw, (position, one) in wanted.items():
            before = held.get(draw)
            if before is not None and before.value == one:
                continue
            pk, revision = (before.id, before.revision) if before else latest.get(draw, (None, 0))
            batch.add(
                self._use(draw, before.position if before else position, revision + 1, pk), one
            )
            counts["revised" if before else "added"] += 1
        for draw, gone in held.items():
            if draw not in wanted:
                row = self._use(draw, gone.position, gone.revision + 1, gone.id)
                row.withdrawn = True
                batch.add(row, None)
                counts["withdrawn"] += 1
        self.uses_moved = bool(batch.rows)
        batch.write()
        return _words(counts, "use")

    def _use(
        self, draw: str, position: int, revision: int, supersedes: UUID | None
    ) -> rows.DrawUse:
        return rows.DrawUse(
            firm_id=self.access.firm_id,
            household_id=self.household_id,
            draw=draw,
            revision=revision,
            supersedes_id=supersedes,
            position=position,
            reason=self.reason,
            by_id=self.access.user_id,
        )


def _words(counts: dict[str, int], noun: str) -> list[str]:
    return [
        f"{number} {noun}{'' if number == 1 else 's'} {verb}"
        for verb, number in counts.items()
        if number
    ]
