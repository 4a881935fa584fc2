"""Which household and account a statement belongs to. Nothing here writes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256
from uuid import UUID

from config.problems import BadInput, Problem
from ledger.core.formats.reading import read_statements
from ledger.core.formats.types import ZONES, ParsedStatement, ReadOptions
from ledger.core.formats.values import zone
from ledger.models import AccountIdentifier
from planning.access import Access, NotVisibleError
from planning.core.household_parts import AccountType
from planning.models import Account, Household


@dataclass(frozen=True, slots=True)
class Target:
    """An account of a household, as the import needs it."""

    household_id: UUID
    province: str
    account_id: UUID
    ref: str
    kind: AccountType


@dataclass(frozen=True, slots=True)
class Found:
    """A statement of a file with the account it goes to. `file` is its place in the request."""

    file: int
    name: str
    data: bytes
    parsed: ParsedStatement
    target: Target


def number_digest(firm_id: UUID, account_hash: str) -> str:
    """The digest under which a firm knows an account number."""
    return sha256(f"{firm_id}:{account_hash}".encode()).hexdigest()


class Resolver:
    """Finds accounts by the options given, by number, or as the only one of a kind.

    Raises BadInput when the household or account asked for is not there.
    """

    def __init__(
        self, access: Access, household: str | None, account: str | None, options: ReadOptions
    ) -> None:
        self.access = access
        self.options = options
        self.household = _household(access, household)
        self.targets = _targets(self.household) if self.household else ()
        self.named = self._named(account) if account is not None else None

    def _named(self, ref: str) -> Target:
        """The account of `--account`, checked against `--kind`."""
        if self.household is None:
            raise BadInput([_problem("--account", "an account needs its household", "--household")])
        wanted = self.options.kind
        for one in self.targets:
            if one.ref == ref and wanted in (None, one.kind):
                return one
        known = _list(self.targets)
        text = f"the household has no {wanted or 'account'} {ref}"
        raise BadInput([_problem("--account", text, f"Its accounts are: {known}")])

    def read(self, place: int, name: str, data: bytes) -> list[Found]:
        """The statements of a file with their accounts. Raises BadInput with every problem.

        A first look finds the accounts, whatever the sums say. The reading that
        counts then knows each account's kind and its household's time zone.
        """
        province = self.household.province if self.household else ""
        kind = self.options.kind
        try:
            seen = read_statements(data, name, self._options(province, kind, accept_gap=True))
        except BadInput:
            kind = self.named.kind if self.named else kind
            seen = read_statements(data, name, self._options(province, kind))
        found: list[Found] = []
        problems: list[Problem] = []
        for index, one in enumerate(seen):
            try:
                target = self._target(one, name)
                _check_kind(one, target, kind, name)
                options = self._options(target.province, target.kind)
                parsed = read_statements(data, name, options)[index]
                found.append(Found(place, name, data, parsed, target))
            except BadInput as error:
                problems += error.problems
        if problems:
            raise BadInput(dict.fromkeys(problems))
        return found

    def _options(
        self, province: str, kind: AccountType | None, *, accept_gap: bool = False
    ) -> ReadOptions:
        """The options with the household's zone and today's date there."""
        name = ZONES.get(province, self.options.zone)
        today = self.options.today or datetime.now(zone(name)).date()
        gap = accept_gap or self.options.accept_gap
        return replace(self.options, zone=name, today=today, kind=kind, accept_gap=gap)

    def _target(self, one: ParsedStatement, name: str) -> Target:
        known = self._by_number(one)
        wanted = self.named
        if wanted is None and known is not None:
            wanted = known
        if wanted is None and self.household is not None:
            wanted = self._only_one(one, name)
        if wanted is None:
            raise BadInput(
                [
                    Problem(
                        name,
                        f"line {one.line}, account" if one.line else "account",
                        f"no household of the firm knows the account number {_masked(one)}",
                        "Give --household and --account once; the number is known from then on",
                    )
                ]
            )
        other = known is not None and known.account_id != wanted.account_id
        outside = self.household is not None and wanted.household_id != self.household.pk
        if known is not None and (other or outside):
            raise BadInput(
                [
                    Problem(
                        name,
                        f"line {one.line}, account" if one.line else "account",
                        f"the account number {_masked(one)} is that of another account"
                        + (f", {known.ref}" if not outside else ""),
                        "Check --household and --account, or the file",
                    )
                ]
            )
        return wanted

    def _by_number(self, one: ParsedStatement) -> Target | None:
        """The account the firm knows under the statement's number, wherever it is."""
        if not one.account_hash:
            return None
        digest = number_digest(self.access.firm_id, one.account_hash)
        rows = self.access.scope(AccountIdentifier.objects.filter(digest=digest))
        known = rows.select_related("account", "household").first()
        return _target(known.account, known.household) if known else None

    def _only_one(self, one: ParsedStatement, name: str) -> Target:
        """The household's only account of the statement's kind whose number is not known yet."""
        fitting = [target for target in self.targets if target.kind == one.kind]
        taken = set(
            AccountIdentifier.objects.filter(
                account_id__in=[target.account_id for target in fitting]
            ).values_list("account_id", flat=True)
        )
        free = [target for target in fitting if target.account_id not in taken]
        # A file without a number fits the only account of its kind, numbered or not.
        choices = free if one.account_hash else fitting
        if len(choices) == 1:
            return choices[0]
        what = f"{one.kind} account" if one.kind else "account, whose kind it does not tell,"
        raise BadInput(
            [
                Problem(
                    name,
                    f"line {one.line}, account" if one.line else "account",
                    f"the file's {what} {_masked(one)} could be none or several of the household's",
                    f"Give --account, one of: {_list(self.targets)}",
                )
            ]
        )


def _check_kind(one: ParsedStatement, target: Target, told: AccountType | None, name: str) -> None:
    """A CSV that states its kind must be of the account's; an OFX type may be a lender's habit."""
    if told is None and one.format == "csv" and one.kind not in (None, target.kind):
        raise BadInput(
            [
                Problem(
                    name,
                    "kind",
                    f"the file is of a {one.kind} account, {target.ref} is a {target.kind}",
                    "Check --account, or the file",
                )
            ]
        )


def _household(access: Access, ref: str | None) -> Household | None:
    if ref is None:
        return None
    try:
        return access.household(ref)
    except NotVisibleError:
        text = f"there is no household {ref}"
        problem = _problem("--household", text, "Check the reference, or load the household first")
        raise BadInput([problem]) from None


def _targets(household: Household) -> tuple[Target, ...]:
    rows = Account.objects.filter(household_id=household.pk).order_by("kind", "ref")
    return tuple(_target(one, household) for one in rows)


def _target(account: Account, household: Household) -> Target:
    return Target(household.pk, household.province, account.pk, account.ref, account.kind)


def _masked(one: ParsedStatement) -> str:
    return f"…{one.account_last4}" if one.account_last4 else "(no number)"


def _list(targets: tuple[Target, ...]) -> str:
    return ", ".join(one.ref for one in targets) or "(none)"


def _problem(where: str, message: str, remedy: str) -> Problem:
    return Problem("import_statements", where, message, remedy)
