"""The household, its versions and its people."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from config.database.base import FirmOwned, cents_between, owned_key
from planning.core.household_parts import PROVINCES

LOWEST_INCOME = -(10**15)


class Household(FirmOwned):
    """A household of the firm. The row a writer locks, so that writers take turns.

    `advisor_email` is what the household file says; `advisor` is the member of
    the firm with that address, if there is one.
    """

    ref = models.CharField(max_length=64)
    name = models.CharField(max_length=200)
    province = models.CharField(max_length=2)
    language = models.CharField(max_length=2, default="en")
    advisor = owned_key("planning.Membership", "households", null=True)
    advisor_email = models.CharField(max_length=200, null=True)  # noqa: DJ001 - null is not ""
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "ref"], name="household_ref_once"),
            models.CheckConstraint(
                condition=Q(province__in=PROVINCES), name="household_province_known"
            ),
            models.CheckConstraint(
                condition=Q(language__in=("en", "fr")), name="household_language_known"
            ),
        ]
        indexes = [models.Index(fields=["firm", "advisor"], name="household_by_advisor")]


class ClientAccess(FirmOwned):
    """A client of the firm may see this household: their own."""

    membership = owned_key("planning.Membership", "client_of")
    household = owned_key("planning.Household", "clients")
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "membership", "household"], name="client_access_once"
            ),
        ]


class HouseholdVersion(FirmOwned):
    """People, facility and accounts as they stood; the highest number is in force.

    `digest` is of the content, so that loading the same content adds nothing.
    """

    facts = True

    household = owned_key("planning.Household", "versions")
    number = models.PositiveIntegerField()
    digest = models.CharField(max_length=64)
    reason = models.TextField(blank=True, default="")
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        on_delete=models.RESTRICT,
        related_name="+",
        db_index=False,
    )
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "household", "number"], name="household_version_once"
            ),
            models.CheckConstraint(condition=Q(number__gte=1), name="household_version_from_one"),
        ]


class Member(FirmOwned):
    """A person of the household."""

    facts = True

    version = owned_key("planning.HouseholdVersion", "members")
    position = models.PositiveIntegerField()
    ref = models.CharField(max_length=64)
    name = models.CharField(max_length=200)
    province = models.CharField(max_length=2)
    born = models.PositiveSmallIntegerField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "version", "ref"], name="member_ref_once"),
            models.CheckConstraint(
                condition=Q(province__in=PROVINCES), name="member_province_known"
            ),
            models.CheckConstraint(
                condition=Q(born__isnull=True) | Q(born__gte=1900, born__lte=2100),
                name="member_born_in_range",
            ),
        ]


class MemberIncome(FirmOwned):
    """A person's taxable income of one year, in cents."""

    facts = True

    member = owned_key("planning.Member", "incomes")
    year = models.PositiveSmallIntegerField()
    income_cents = models.BigIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "member", "year"], name="income_year_once"),
            models.CheckConstraint(
                condition=cents_between("income_cents", LOWEST_INCOME),
                name="income_in_range",
            ),
            models.CheckConstraint(
                condition=Q(year__gte=1990, year__lte=2200), name="income_year_in_range"
            ),
        ]


class MemberGain(FirmOwned):
    """A capital gain a person realised on a day, in cents."""

    facts = True

    member = owned_key("planning.Member", "gains")
    position = models.PositiveIntegerField()
    on = models.DateField()
    amount_cents = models.BigIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "member", "position"], name="gain_once"),
            models.CheckConstraint(
                condition=cents_between("amount_cents", 1), name="gain_in_range"
            ),
        ]
