"""Is a household's book in one piece? Each check is a small function over one `Book`."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from hashlib import sha256
from itertools import pairwise

from config.problems import BadInput
from ledger import models as rows
from ledger.core.facts import facts_problems
from ledger.core.tracing import Tracer
from ledger.mapping import household_value
from ledger.selectors.checks.findings import CheckFinding, Level
from planning import mapping
from planning.core.money import text_from_cents
from planning.core.types import Entry, Household, Statement
from planning.models import Household as HouseholdRow
from planning.models import HouseholdVersion, PlanVersion

SIGNS = {
    "line": {"draw": 1, "interest": 1, "fee": 1, "repayment": -1},
    "mortgage": {"payment": -1, "prepayment": -1, "charge": 1, "advance": 1},
}


@dataclass(frozen=True, slots=True)
class Book:
    """A household's row and its core value; `firm` is the firm's name."""

    firm: str
    row: HouseholdRow
    value: Household

    def say(self, check: str, level: Level, where: str, message: str) -> CheckFinding:
        """A finding about this household."""
        return CheckFinding(check, level, self.firm, self.row.ref, where, message)


def statements_tie(book: Book) -> Iterator[CheckFinding]:
    """Opening and postings give the closing, and each closing is the next opening.

    A statement is the truth, so a break is not a fault of the book: it is shown
    as a note and carried as a visible entry of its own.
    """
    kinds = {ref: kind for kind, ref in mapping.account_keys(book.value)}
    for ref, kind in kinds.items():
        if kind == "investment":
            continue
        listed = book.value.statements_of(ref)
        for one in listed:
            missing = one.closing_cents - one.opening_cents - (_moved(one, kind) or 0)
            if missing and _moved(one, kind) is not None:
                text = f"postings miss the closing by {text_from_cents(missing)}"
                yield book.say("statement-tie-out", "note", f"{ref} {one.ends}", text)
        for before, after in pairwise(listed):
            gap = after.opening_cents - before.closing_cents
            days = (after.starts - before.ends).days - 1
            if gap or days:
                text = f"opens {text_from_cents(gap)} off the closing before it, {days} days later"
                yield book.say("statement-tie-out", "note", f"{ref} {after.starts}", text)


def _moved(one: Statement, kind: str) -> int | None:
    """What the postings move the balance by; None when a payment does not show its principal."""
    parts = [_signed(entry, kind) for entry in one.entries]
    return None if None in parts else sum(part for part in parts if part is not None)


def _signed(entry: Entry, kind: str) -> int | None:
    if kind == "mortgage" and entry.kind == "payment":
        return None if entry.principal_cents is None else -entry.principal_cents
    return SIGNS[kind][entry.kind] * entry.amount_cents


def uses_fit(book: Book) -> Iterator[CheckFinding]:
    """Ids are unique, every use names a draw on file, and its splits are not more than the draw."""
    problems, warnings = facts_problems(book.value, book.row.ref)
    for one in problems:
        yield book.say("uses-fit", "fault", one.where, one.message)
    for text in warnings:
        yield book.say("uses-fit", "note", "", text)


def versions_whole(book: Book) -> Iterator[CheckFinding]:
    """The version in force is what its digest was taken of, and no number is missing."""
    versions = HouseholdVersion.objects.filter(household=book.row).order_by("number")
    listed = list(versions.values_list("number", "digest"))
    yield from _numbers(book, "version-digest", [number for number, _ in listed])
    if listed and listed[-1][1] != mapping.profile_digest(book.value):
        where = f"version {listed[-1][0]}"
        yield book.say("version-digest", "fault", where, "the content does not match its digest")


def plans_whole(book: Book) -> Iterator[CheckFinding]:
    """Every plan version still has the bytes its digest was taken of, and still reads."""
    listed = list(
        PlanVersion.objects.filter(household=book.row)
        .order_by("number")
        .values_list("number", "inputs", "digest")
    )
    yield from _numbers(book, "plan-digest", [number for number, _, _ in listed])
    for number, inputs, digest in listed:
        if mapping.digest_of_text(inputs) != digest:
            where = f"plan version {number}"
            yield book.say("plan-digest", "fault", where, "the inputs do not match their digest")


def _numbers(book: Book, check: str, numbers: list[int]) -> Iterator[CheckFinding]:
    if numbers != list(range(1, len(numbers) + 1)):
        yield book.say(check, "fault", "", f"numbers are {numbers}: one is missing")


def revisions_chained(book: Book) -> Iterator[CheckFinding]:
    """Revisions of a period, a decision or a paper follow one another without a hole."""
    chains: dict[str, list[tuple[int, object, object]]] = defaultdict(list)
    statements = rows.Statement.objects.filter(household=book.row).order_by("revision")
    for pk, before, revision, account, starts, ends in statements.values_list(
        "pk", "supersedes_id", "revision", "account__ref", "starts", "ends"
    ):
        chains[f"{account} {starts} to {ends}"].append((revision, pk, before))
    uses = rows.DrawUse.objects.filter(household=book.row).order_by("revision")
    for pk, before, revision, draw in uses.values_list("pk", "supersedes_id", "revision", "draw"):
        chains[f"use of {draw}"].append((revision, pk, before))
    papers = rows.EvidencePaper.objects.filter(household=book.row).order_by("revision")
    for pk, before, revision, ref, content in papers.values_list(
        "pk", "supersedes_id", "revision", "ref", "content_id"
    ):
        chains[f"paper {ref} {content}"].append((revision, pk, before))
    for where, chain in chains.items():
        numbers = [revision for revision, _, _ in chain]
        before = [None, *(pk for _, pk, _ in chain[:-1])]
        if numbers != list(range(1, len(chain) + 1)) or before != [one for _, _, one in chain]:
            yield book.say("revision-chain", "fault", where, "a revision is missing or astray")


def one_statement_a_day(book: Book) -> Iterator[CheckFinding]:
    """No day of an account has two statements."""
    for ref in {one.account for one in book.value.statements}:
        for before, after in pairwise(book.value.statements_of(ref)):
            if after.starts <= before.ends:
                text = f"overlaps the statement that ends {before.ends}"
                yield book.say("statement-overlap", "fault", f"{ref} {after.starts}", text)


def tracing_sums(book: Book) -> Iterator[CheckFinding]:
    """Replaying every entry from zero, the classes sum to the statement's balance each time.

    A balance below zero is the household's own money and has no class.
    """
    if not book.value.statements:
        return
    as_of = max(one.ends for one in book.value.statements)
    try:
        traced = Tracer(book.value).at(as_of)
    except (BadInput, AssertionError, ArithmeticError, LookupError) as error:
        yield book.say("tracing-sum", "fault", "", f"the lines cannot be traced: {error}")
        return
    for ref, line in traced.lines.items():
        listed = book.value.statements_of(ref)
        if listed and line.balance != listed[-1].closing_cents:
            text = f"traced {text_from_cents(line.balance)}, stated " + text_from_cents(
                listed[-1].closing_cents
            )
            yield book.say("tracing-sum", "fault", ref, text)
        if sum(line.classes) != max(0, line.balance):
            yield book.say("tracing-sum", "fault", ref, "the classes do not sum to the balance")
        if sum(line.targets.values()) != line.principal[0]:
            text = "the targets do not sum to the eligible principal"
            yield book.say("tracing-sum", "fault", ref, text)
        running = 0
        for row in line.rows:
            running += sum(row.change)
            if running != max(0, row.balance):
                yield book.say("tracing-sum", "fault", f"{ref} {row.id}", "a row does not add up")


def files_whole(book: Book) -> Iterator[CheckFinding]:
    """Every file kept still has the bytes and size its digest was taken of."""
    for one in rows.SourceFile.objects.filter(household=book.row).iterator(chunk_size=20):
        content = bytes(one.content)
        if sha256(content).hexdigest() != one.sha256 or len(content) != one.size:
            yield book.say("source-files", "fault", one.name, "the bytes do not match their digest")


def papers_whole(book: Book) -> Iterator[CheckFinding]:
    """Every paper kept still has the bytes and size its digest was taken of."""
    listed = rows.EvidencePaper.objects.filter(household=book.row).select_related("content")
    for one in listed.iterator(chunk_size=20):
        kept = one.content
        content = bytes(kept.content)
        if sha256(content).hexdigest() != kept.sha256 or len(content) != kept.size:
            yield book.say("papers", "fault", one.ref, "the bytes do not match their digest")


def read_book(firm: str, row: HouseholdRow) -> Book:
    """A household ready to be checked. Raises BadInput when its stored plan does not read."""
    return Book(firm, row, household_value(row))


HouseholdCheck = Callable[[Book], Iterator[CheckFinding]]
HOUSEHOLD_CHECKS: tuple[tuple[str, HouseholdCheck], ...] = (
    ("statement-tie-out", statements_tie),
    ("statement-overlap", one_statement_a_day),
    ("uses-fit", uses_fit),
    ("version-digest", versions_whole),
    ("plan-digest", plans_whole),
    ("revision-chain", revisions_chained),
    ("tracing-sum", tracing_sums),
    ("source-files", files_whole),
    ("papers", papers_whole),
)
