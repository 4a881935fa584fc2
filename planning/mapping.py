"""Rows and core values of the plan's side: the one module that knows both.

`profile_value` gives a household without statements and uses; the ledger adds
those. `version_rows` and `prime_rows` go the other way.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import fields as fields_of
from datetime import date, datetime
from decimal import Decimal
from hashlib import sha256
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import Model, QuerySet

from planning import models as rows
from planning.core.household_file import household_to_json
from planning.core.json_reader import Faults, Node
from planning.core.plan_file import plan_to_json, read_plan
from planning.core.suitability import Assessment, Suitability
from planning.core.types import (
    Facility,
    Gain,
    Household,
    Investment,
    Line,
    Member,
    Mortgage,
    Plan,
    RateSteps,
    Term,
)

PROFILE_KEYS = ("members", "facility", "mortgages", "lines", "investments", "suitability")


class Profile(NamedTuple):
    """What a household version holds."""

    members: tuple[Member, ...]
    facility: Facility
    mortgages: tuple[Mortgage, ...]
    lines: tuple[Line, ...]
    investments: tuple[Investment, ...]
    suitability: Suitability


def profile_of(household: Household) -> Profile:
    """The part of a household that a version keeps."""
    return Profile(*(getattr(household, key) for key in PROFILE_KEYS))


def profile_digest(household: Household) -> str:
    """sha256 over the canonical JSON of what a version keeps."""
    written = household_to_json(household)
    text = json.dumps(
        {key: written[key] for key in PROFILE_KEYS if key in written},
        separators=(",", ":"),
        ensure_ascii=False,
    )
    return sha256(text.encode()).hexdigest()


def plan_text(plan: Plan | None) -> str:
    """The canonical JSON text of a plan; empty for none."""
    if plan is None:
        return ""
    return json.dumps(plan_to_json(plan), separators=(",", ":"), ensure_ascii=False)


def digest_of_text(text: str) -> str:
    """sha256 of a text's UTF-8 bytes."""
    return sha256(text.encode()).hexdigest()


# --- from rows -------------------------------------------------------------------


def profile_value(household: rows.Household, known_at: datetime | None = None) -> Household:
    """A household as its rows say, without statements and uses.

    `known_at` gives it as it was on file at that time. The row itself (name,
    province, advisor) has no history but the trail.
    """
    version = in_force(rows.HouseholdVersion.objects.filter(household=household), known_at)
    assert version is not None, "a household has a version from the start"
    people = _members(version.pk)
    parts = _parties(version.pk)
    return Household(
        ref=household.ref,
        name=household.name,
        province=household.province,
        advisor=household.advisor_email,
        members=tuple(people.values()),
        facility=_facility(version.pk),
        mortgages=_mortgages(version.pk, parts),
        lines=_lines(version.pk, parts),
        investments=_investments(version.pk, parts),
        prime=prime_value(household, known_at),
        statements=(),
        uses=(),
        plan=plan_value(household, known_at),
        suitability=_suitability(version.pk),
    )


def in_force(revisions: QuerySet[Any], known_at: datetime | None) -> Any:
    """The row with the highest number, among those on file at `known_at`; None without one."""
    if known_at is not None:
        revisions = revisions.filter(recorded_at__lte=known_at)
    return revisions.order_by("-number").first()


def plan_value(household: rows.Household, known_at: datetime | None = None) -> Plan | None:
    """The plan in force; None when there is none."""
    found = in_force(rows.PlanVersion.objects.filter(household=household), known_at)
    return None if found is None or not found.inputs else plan_from_text(found.inputs)


def plan_from_text(text: str) -> Plan:
    """A plan from its stored text. Raises BadInput when the text is not a plan."""
    faults = Faults("plan")
    plan = read_plan(Node(json.loads(text), "plan", faults))
    faults.stop_if_any()
    return plan


def prime_value(household: rows.Household, known_at: datetime | None = None) -> RateSteps:
    """The household's prime series: the latest revision of each date, withdrawn ones left out."""
    steps = rows.PrimeRate.objects.filter(household=household)
    if known_at is not None:
        steps = steps.filter(recorded_at__lte=known_at)
    latest: dict[date, Decimal | None] = dict(
        steps.order_by("starts", "revision").values_list("starts", "rate")
    )
    return tuple((starts, rate) for starts, rate in latest.items() if rate is not None)


def _members(version: UUID) -> dict[UUID, Member]:
    incomes: dict[UUID, list[tuple[int, int]]] = defaultdict(list)
    for member, year, cents in (
        rows.MemberIncome.objects.filter(member__version_id=version)
        .order_by("year")
        .values_list("member_id", "year", "income_cents")
    ):
        incomes[member].append((year, cents))
    gains: dict[UUID, list[Gain]] = defaultdict(list)
    for member, on, cents in (
        rows.MemberGain.objects.filter(member__version_id=version)
        .order_by("position")
        .values_list("member_id", "on", "amount_cents")
    ):
        gains[member].append(Gain(on, cents))
    found = rows.Member.objects.filter(version_id=version).order_by("position")
    return {
        pk: Member(ref, name, province, born, tuple(incomes[pk]), tuple(gains[pk]))
        for pk, ref, name, province, born in found.values_list(
            "pk", "ref", "name", "province", "born"
        )
    }


Parties = dict[tuple[UUID, str], list[str]]


def _parties(version: UUID) -> Parties:
    """References of people by account and part, in order."""
    found: Parties = defaultdict(list)
    listed = rows.Party.objects.filter(version_id=version).order_by("position")
    for account, part, ref in listed.values_list("account_id", "part", "member__ref"):
        found[account, part].append(ref)
    return found


def _facility(version: UUID) -> Facility:
    one = rows.Facility.objects.get(version_id=version)
    return Facility(
        lender_value_cents=one.lender_value_cents,
        valued_on=one.valued_on,
        registered_limit_cents=one.registered_limit_cents,
        revolving_cap=one.revolving_cap,
        line_cap_cents=one.line_cap_cents,
        excess_rule=one.excess_rule,
        capitalised_interest=one.capitalised_interest,
        interest_method=one.interest_method,
    )


def _mortgages(version: UUID, parties: Parties) -> tuple[Mortgage, ...]:
    terms: dict[UUID, list[Term]] = defaultdict(list)
    listed = rows.MortgageTerm.objects.filter(mortgage__version_id=version).order_by("position")
    for mortgage, *fields in listed.values_list(
        "mortgage_id", "starts", "matures", "kind", "rate", "spread", "payment_cents"
    ):
        terms[mortgage].append(Term(*fields))
    return tuple(
        Mortgage(
            ref=one.account.ref,
            original_principal_cents=one.original_principal_cents,
            first_payment=one.first_payment,
            amortization_months=one.amortization_months,
            frequency=one.frequency,
            compounding=one.compounding,
            biweekly_basis=one.biweekly_basis,
            prepayment_privilege=one.prepayment_privilege,
            borrowers=tuple(parties.get((one.account_id, "borrower"), ())),
            terms=tuple(terms[one.pk]),
        )
        for one in _of_version(rows.Mortgage, version)
    )


def _lines(version: UUID, parties: Parties) -> tuple[Line, ...]:
    return tuple(
        Line(
            ref=one.account.ref,
            day_basis=one.day_basis,
            spread=one.spread,
            borrowers=tuple(parties.get((one.account_id, "borrower"), ())),
            payer=next(iter(parties.get((one.account_id, "payer"), ())), None),
            claimant=next(iter(parties.get((one.account_id, "claimant"), ())), None),
            owners_explained=one.owners_explained,
        )
        for one in _of_version(rows.CreditLine, version)
    )


def _investments(version: UUID, parties: Parties) -> tuple[Investment, ...]:
    return tuple(
        Investment(
            ref=one.account.ref,
            kind=one.kind,
            owners=tuple(parties.get((one.account_id, "owner"), ())),
        )
        for one in _of_version(rows.InvestmentAccount, version)
    )


_ASSESSED = tuple(one.name for one in fields_of(Assessment))


def _suitability(version: UUID) -> Suitability:
    assessments = rows.LeverageAssessment.objects.filter(version_id=version).order_by("on")
    disclosures = rows.LeverageDisclosure.objects.filter(version_id=version).order_by("on")
    return Suitability(
        tuple(Assessment(*row) for row in assessments.values_list(*_ASSESSED)),
        tuple(disclosures.values_list("on", flat=True)),
    )


def _of_version(model: Any, version: UUID) -> Iterable[Any]:
    return model.objects.filter(version_id=version).select_related("account").order_by("position")


# --- to rows ---------------------------------------------------------------------

AccountIds = dict[tuple[str, str], UUID]
"""Ids of accounts by kind and reference."""


def account_keys(household: Household) -> tuple[tuple[str, str], ...]:
    """(kind, reference) of every account, in listing order."""
    return (
        *(("mortgage", one.ref) for one in household.mortgages),
        *(("line", one.ref) for one in household.lines),
        *(("investment", one.ref) for one in household.investments),
    )


def version_rows(
    version: rows.HouseholdVersion, household: Household, accounts: AccountIds
) -> tuple[list[Model], ...]:
    """The rows of a new version, in lists to be inserted in this order."""
    common = {"firm_id": version.firm_id, "version": version}
    people: list[Model] = []
    incomes: list[Model] = []
    gains: list[Model] = []
    by_ref: dict[str, rows.Member] = {}
    for position, one in enumerate(household.members):
        person = rows.Member(
            **common,
            position=position,
            ref=one.ref,
            name=one.name,
            province=one.province,
            born=one.born,
        )
        people.append(person)
        by_ref[one.ref] = person
        incomes += [
            rows.MemberIncome(firm_id=version.firm_id, member=person, year=year, income_cents=cents)
            for year, cents in one.income
        ]
        gains += [
            rows.MemberGain(firm_id=version.firm_id, member=person, position=place, **_fields(gain))
            for place, gain in enumerate(one.gains)
        ]
    mortgages, terms = _mortgage_rows(common, household, accounts)
    return (
        people,
        incomes,
        gains,
        [rows.Facility(**common, **_fields(household.facility))],
        mortgages,
        terms,
        [
            rows.CreditLine(
                **common,
                account_id=accounts["line", line.ref],
                position=position,
                day_basis=line.day_basis,
                spread=line.spread,
                owners_explained=line.owners_explained,
            )
            for position, line in enumerate(household.lines)
        ],
        [
            rows.InvestmentAccount(
                **common,
                account_id=accounts["investment", held.ref],
                position=position,
                kind=held.kind,
            )
            for position, held in enumerate(household.investments)
        ],
        [
            rows.Party(**common, account_id=account, member=by_ref[ref], part=part, position=place)
            for account, part, refs in _parts(household, accounts)
            for place, ref in enumerate(refs)
        ],
        [
            rows.LeverageAssessment(**common, **_fields(one))
            for one in household.suitability.assessments
        ],
        [rows.LeverageDisclosure(**common, on=on) for on in household.suitability.disclosures],
    )


def _fields(value: Any) -> dict[str, Any]:
    return {name: getattr(value, name) for name in value.__dataclass_fields__}


def _mortgage_rows(
    common: dict[str, Any], household: Household, accounts: AccountIds
) -> tuple[list[Model], list[Model]]:
    mortgages: list[Model] = []
    terms: list[Model] = []
    for position, one in enumerate(household.mortgages):
        held = _fields(one)
        for key in ("ref", "borrowers", "terms"):
            del held[key]
        mortgage = rows.Mortgage(
            **common, account_id=accounts["mortgage", one.ref], position=position, **held
        )
        mortgages.append(mortgage)
        terms += [
            rows.MortgageTerm(
                firm_id=common["firm_id"],
                mortgage=mortgage,
                position=place,
                starts=term.starts,
                matures=term.matures,
                kind=term.kind,
                rate=term.rate_annual,
                spread=term.spread,
                payment_cents=term.payment_cents,
            )
            for place, term in enumerate(one.terms)
        ]
    return mortgages, terms


def _parts(
    household: Household, accounts: AccountIds
) -> Iterable[tuple[UUID, str, tuple[str, ...]]]:
    for mortgage in household.mortgages:
        yield accounts["mortgage", mortgage.ref], "borrower", mortgage.borrowers
    for line in household.lines:
        account = accounts["line", line.ref]
        yield account, "borrower", line.borrowers
        yield account, "payer", (line.payer,) if line.payer else ()
        yield account, "claimant", (line.claimant,) if line.claimant else ()
    for held in household.investments:
        yield accounts["investment", held.ref], "owner", held.owners
