"""A household, its people, and the contracts it lives under."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Now

from planning.core.household_parts import ACCOUNT_KINDS, FREQUENCIES, PROVINCES
from planning.models.owned import FirmOwned, RateField

CENTS_LIMIT = 10**15


def cents_in_range(field: str, name: str) -> models.CheckConstraint:
    """An amount no real household reaches is a typing error."""
    return models.CheckConstraint(
        condition=Q(**{f"{field}__gt": -CENTS_LIMIT, f"{field}__lt": CENTS_LIMIT}), name=name
    )


class Household(FirmOwned):
    """One client household. `ref` is the firm's own reference."""

    ref = models.CharField(max_length=64)
    name = models.CharField(max_length=200)
    province = models.CharField(max_length=2)
    language = models.CharField(max_length=2, default="en")
    advisor = models.ForeignKey(
        "Membership", on_delete=models.RESTRICT, null=True, related_name="+"
    )
    advisor_email = models.CharField(max_length=200, null=True)  # noqa: DJ001 - null is the file's
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "ref"], name="household_ref_once"),
            models.CheckConstraint(
                condition=Q(province__in=PROVINCES), name="household_province_is_known"
            ),
        ]


class HouseholdPart(FirmOwned):
    """Something a household has, at its place in the file."""

    household = models.ForeignKey(Household, on_delete=models.RESTRICT, related_name="+")
    position = models.PositiveIntegerField()

    class Meta:
        abstract = True


class Member(HouseholdPart):
    """A person of a household. `income` is taxable income in cents by tax year."""

    ref = models.CharField(max_length=64)
    name = models.CharField(max_length=200)
    province = models.CharField(max_length=2)
    born = models.PositiveIntegerField(null=True)
    income = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "household", "ref"], name="member_ref_once"),
        ]


class Facility(FirmOwned):
    """The readvanceable facility of a household."""

    household = models.ForeignKey(Household, on_delete=models.RESTRICT, related_name="+")
    lender_value_cents = models.BigIntegerField()
    valued_on = models.DateField(null=True)
    registered_limit_cents = models.BigIntegerField()
    revolving_cap = RateField()
    line_cap_cents = models.BigIntegerField()
    excess_rule = models.CharField(max_length=12)
    capitalised_interest = models.CharField(max_length=16)
    interest_method = models.CharField(max_length=8)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "household"], name="facility_once"),
            cents_in_range("lender_value_cents", "facility_value_in_range"),
            models.CheckConstraint(
                condition=Q(revolving_cap__gte=0, revolving_cap__lte=1),
                name="facility_cap_is_share",
            ),
        ]


class Mortgage(HouseholdPart):
    """A mortgage of the facility."""

    ref = models.CharField(max_length=64)
    original_principal_cents = models.BigIntegerField()
    first_payment = models.DateField()
    amortization_months = models.PositiveIntegerField()
    frequency = models.CharField(max_length=24)
    compounding = models.CharField(max_length=12)
    biweekly_basis = models.CharField(max_length=12)
    prepayment_privilege = RateField()
    borrowers = models.JSONField(default=list)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "household", "ref"], name="mortgage_ref_once"),
            cents_in_range("original_principal_cents", "mortgage_principal_in_range"),
            models.CheckConstraint(
                condition=Q(frequency__in=FREQUENCIES), name="mortgage_frequency_is_known"
            ),
        ]


class MortgageTerm(FirmOwned):
    """One term of a mortgage."""

    mortgage = models.ForeignKey(Mortgage, on_delete=models.RESTRICT, related_name="+")
    position = models.PositiveIntegerField()
    starts = models.DateField()
    matures = models.DateField()
    kind = models.CharField(max_length=12)
    rate_annual = RateField(null=True)
    spread = RateField(null=True)
    payment_cents = models.BigIntegerField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "mortgage", "position"], name="term_place_once"
            ),
            models.CheckConstraint(
                condition=Q(matures__gt=F("starts")), name="term_matures_after_start"
            ),
            models.CheckConstraint(
                condition=Q(rate_annual__isnull=True) | Q(rate_annual__gte=0, rate_annual__lte=1),
                name="term_rate_is_fraction",
            ),
        ]


class CreditLine(HouseholdPart):
    """A credit line of the facility."""

    ref = models.CharField(max_length=64)
    day_basis = models.CharField(max_length=6)
    spread = RateField()
    borrowers = models.JSONField(default=list)
    payer = models.CharField(max_length=64, null=True)  # noqa: DJ001 - null is the file's
    claimant = models.CharField(max_length=64, null=True)  # noqa: DJ001 - null is the file's
    owners_explained = models.TextField(null=True)  # noqa: DJ001 - null is the file's

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "household", "ref"], name="line_ref_once"),
        ]


class InvestmentAccount(HouseholdPart):
    """An investment account."""

    ref = models.CharField(max_length=64)
    kind = models.CharField(max_length=16)
    owners = models.JSONField(default=list)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "household", "ref"], name="account_ref_once"),
            models.CheckConstraint(
                condition=Q(kind__in=ACCOUNT_KINDS), name="account_kind_is_known"
            ),
        ]


class PrimeRate(FirmOwned):
    """One step of the prime series a household's line follows."""

    household = models.ForeignKey(Household, on_delete=models.RESTRICT, related_name="+")
    on = models.DateField()
    rate_annual = RateField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "household", "on"], name="prime_step_once"),
            models.CheckConstraint(
                condition=Q(rate_annual__gte=-1, rate_annual__lte=1), name="prime_is_fraction"
            ),
        ]


class PlanVersion(FirmOwned):
    """One version of a household's plan, kept for good; the highest number is in force.

    `inputs` is the plan as the household file writes it, `sha256` over that text.
    """

    household = models.ForeignKey(Household, on_delete=models.RESTRICT, related_name="+")
    number = models.PositiveIntegerField()
    inputs = models.TextField()
    sha256 = models.CharField(max_length=64)
    reason = models.TextField(default="")
    created_by = models.UUIDField(null=True)
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "household", "number"], name="plan_version_once"
            ),
        ]
