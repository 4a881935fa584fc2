"""Writing down who a household is and what it intends, version by version.

Parts of a larger act: the caller holds the transaction, the household's lock
and writes the trail.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from uuid import UUID

from planning import mapping
from planning import models as rows
from planning.access import Access
from planning.core.types import Household, Plan, RateSteps

HEADER = ("name", "province", "advisor_email")


@dataclass(frozen=True, slots=True)
class Stored:
    """A household's row, whether it is new, and what was written about it.

    `moved` holds before and after of what the row itself says, for the trail:
    the row has no other history.
    """

    household: rows.Household
    created: bool
    changes: tuple[str, ...]
    moved: dict[str, tuple[str | None, str | None]]


def store_profile(
    *,
    access: Access,
    value: Household,
    reason: str,
    language: str = "en",
    before: Household | None = None,
) -> Stored:
    """Write the household's row, version, prime and plan where they differ from what is on file.

    The household's row stays locked until the transaction ends. `before` may
    give the current value to spare reading it again.
    """
    access.require("household.edit")
    household, created = _row(access, value, language)
    held = None if created else before or mapping.profile_value(household)
    moved = {} if created else _header_changes(access, household, value)
    changes: list[str] = ["created"] if created else list(moved)
    changes += _new_version(access, household, value, held, reason)
    changes += _new_prime(household, value.prime, held.prime if held else ())
    changes += _new_plan(access, household, value, held, reason)
    return Stored(household, created, tuple(changes), moved)


def advisor_of(firm_id: UUID, email: str | None) -> rows.Membership | None:
    """The member of the firm whose address a household file names; None when nobody has it."""
    if email is None:
        return None
    return (
        rows.Membership.objects.filter(firm_id=firm_id, user__email__iexact=email, active=True)
        .exclude(role__in=("client", "accountant"))
        .first()
    )


def _row(access: Access, value: Household, language: str) -> tuple[rows.Household, bool]:
    """The household's row, locked; made if there is none.

    Two writers may both try to make it: the unique key lets one win, and the
    other finds the winner's row.
    """
    fresh = rows.Household(
        firm_id=access.firm_id,
        ref=value.ref,
        name=value.name,
        province=value.province,
        language=language,
        advisor_email=value.advisor,
        advisor=advisor_of(access.firm_id, value.advisor),
    )
    rows.Household.objects.bulk_create([fresh], ignore_conflicts=True)
    found = rows.Household.objects.select_for_update(no_key=True).get(
        firm_id=access.firm_id, ref=value.ref
    )
    # An advisor's book is theirs: another's household is not found, nor made, by its file.
    access.household(found.pk)
    return found, found.pk == fresh.pk


def _header_changes(
    access: Access, row: rows.Household, value: Household
) -> dict[str, tuple[str | None, str | None]]:
    wanted = dict(zip(HEADER, (value.name, value.province, value.advisor), strict=True))
    moved: dict[str, tuple[str | None, str | None]] = {}
    for key, after in wanted.items():
        before = getattr(row, key)
        if before != after:
            moved[key] = (before, after)
            setattr(row, key, after)
    advisor = advisor_of(access.firm_id, value.advisor)
    advisor_id = advisor.pk if advisor else None
    if row.advisor_id != advisor_id:
        moved["advisor"] = tuple(str(one) if one else None for one in (row.advisor_id, advisor_id))
        row.advisor = advisor
    if moved:
        row.save(update_fields=list(moved))
    return moved


def _new_version(
    access: Access, row: rows.Household, value: Household, held: Household | None, reason: str
) -> list[str]:
    if held is not None and mapping.profile_of(held) == mapping.profile_of(value):
        return []
    number = rows.HouseholdVersion.objects.filter(household=row).count() + 1
    version = rows.HouseholdVersion(
        firm_id=access.firm_id,
        household=row,
        number=number,
        digest=mapping.profile_digest(value),
        reason=reason,
        by_id=access.user_id,
    )
    version.save(force_insert=True)
    for listed in mapping.version_rows(version, value, _accounts(access, row, value)):
        if listed:
            type(listed[0]).objects.bulk_create(listed)
    return [f"version {number}"]


def _accounts(access: Access, row: rows.Household, value: Household) -> mapping.AccountIds:
    """Ids of the household's accounts; those not yet known are made."""
    known = account_ids(row.pk)
    fresh = [
        rows.Account(firm_id=access.firm_id, household=row, kind=kind, ref=ref)
        for kind, ref in mapping.account_keys(value)
        if (kind, ref) not in known
    ]
    rows.Account.objects.bulk_create(fresh)
    return known | {(one.kind, one.ref): one.pk for one in fresh}


def account_ids(household_id: UUID) -> mapping.AccountIds:
    """Ids of a household's accounts by kind and reference."""
    listed = rows.Account.objects.filter(household_id=household_id)
    return {(kind, ref): pk for kind, ref, pk in listed.values_list("kind", "ref", "pk")}


def _new_prime(row: rows.Household, wanted: RateSteps, held: RateSteps) -> list[str]:
    """Add steps that are new or differ, withdraw those that are gone."""
    new, old = dict(wanted), dict(held)
    moved = [day for day in sorted(new.keys() | old.keys()) if new.get(day) != old.get(day)]
    if not moved:
        return []
    revisions: dict[object, int] = {}
    listed = rows.PrimeRate.objects.filter(household=row, starts__in=moved).order_by("revision")
    revisions.update(listed.values_list("starts", "revision"))
    rows.PrimeRate.objects.bulk_create(
        rows.PrimeRate(
            firm_id=row.firm_id,
            household=row,
            starts=day,
            revision=revisions.get(day, 0) + 1,
            rate=new.get(day),
        )
        for day in moved
    )
    return [f"prime on {len(moved)} date{'' if len(moved) == 1 else 's'}"]


def _ordered(plan: Plan | None) -> Plan | None:
    """A plan whose opening balances stand in one order, which has no meaning of its own."""
    return None if plan is None else replace(plan, opening=tuple(sorted(plan.opening)))


def _new_plan(
    access: Access, row: rows.Household, value: Household, held: Household | None, reason: str
) -> list[str]:
    if _ordered(value.plan) == _ordered(held.plan if held else None):
        return []
    text = mapping.plan_text(value.plan)
    number = rows.PlanVersion.objects.filter(household=row).count() + 1
    rows.PlanVersion.objects.create(
        firm_id=access.firm_id,
        household=row,
        number=number,
        inputs=text,
        digest=mapping.digest_of_text(text),
        reason=reason,
        by_id=access.user_id,
    )
    return [f"plan version {number}"]
