"""The facility and the accounts: mortgages with terms, credit lines, investments."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Now

from config.database.base import FirmOwned, RateField, cents_between, owned_key, rate_between
from planning.core.household_parts import ACCOUNT_KINDS, FREQUENCIES

ACCOUNT_TYPES = ("mortgage", "line", "investment")
PARTIES = ("borrower", "payer", "claimant", "owner")


class Account(FirmOwned):
    """An account of a household under its reference; statements hang on it for good."""

    facts = True

    household = owned_key("planning.Household", "accounts")
    kind = models.CharField(max_length=10)
    ref = models.CharField(max_length=64)
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "household", "kind", "ref"], name="account_ref_once"
            ),
            models.CheckConstraint(condition=Q(kind__in=ACCOUNT_TYPES), name="account_kind_known"),
        ]


class Facility(FirmOwned):
    """The readvanceable facility of a household version."""

    facts = True

    version = owned_key("planning.HouseholdVersion", "facilities")
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
            models.UniqueConstraint(fields=["firm", "version"], name="facility_once"),
            models.CheckConstraint(
                condition=cents_between("lender_value_cents", 1)
                & cents_between("registered_limit_cents")
                & cents_between("line_cap_cents")
                & rate_between("revolving_cap", "0", "1"),
                name="facility_in_range",
            ),
            models.CheckConstraint(
                condition=Q(
                    excess_rule__in=("excess-first", "proportional", "none"),
                    capitalised_interest__in=("compounding", "paid-by-advance"),
                    interest_method__in=("paid", "payable"),
                ),
                name="facility_words_known",
            ),
        ]


class Mortgage(FirmOwned):
    """A mortgage of a household version."""

    facts = True

    version = owned_key("planning.HouseholdVersion", "mortgages")
    account = owned_key("planning.Account", "+")
    position = models.PositiveIntegerField()
    original_principal_cents = models.BigIntegerField()
    first_payment = models.DateField()
    amortization_months = models.PositiveIntegerField()
    frequency = models.CharField(max_length=20)
    compounding = models.CharField(max_length=12)
    biweekly_basis = models.CharField(max_length=12)
    prepayment_privilege = RateField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "version", "account"], name="mortgage_once"),
            models.CheckConstraint(
                condition=cents_between("original_principal_cents", 1)
                & rate_between("prepayment_privilege", "0", "1")
                & Q(amortization_months__gte=1, amortization_months__lte=600),
                name="mortgage_in_range",
            ),
            models.CheckConstraint(
                condition=Q(
                    frequency__in=FREQUENCIES,
                    compounding__in=("semi-annual", "monthly", "annual"),
                    biweekly_basis__in=("annuity", "annual-total"),
                ),
                name="mortgage_words_known",
            ),
        ]


class MortgageTerm(FirmOwned):
    """One term of a mortgage: a fixed rate, or a spread to prime."""

    facts = True

    mortgage = owned_key("planning.Mortgage", "terms")
    position = models.PositiveIntegerField()
    starts = models.DateField()
    matures = models.DateField()
    kind = models.CharField(max_length=12)
    rate = RateField(null=True)
    spread = RateField(null=True)
    payment_cents = models.BigIntegerField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "mortgage", "position"], name="term_once"),
            models.CheckConstraint(
                condition=Q(matures__gt=F("starts")), name="term_matures_after_start"
            ),
            models.CheckConstraint(
                condition=Q(kind="fixed", rate__isnull=False, spread__isnull=True)
                | Q(kind__in=("adjustable", "static"), rate__isnull=True, spread__isnull=False),
                name="term_rate_fits_kind",
            ),
            models.CheckConstraint(
                condition=rate_between("rate", "0", "1")
                & rate_between("spread", "-0.10", "1")
                & cents_between("payment_cents", 1),
                name="term_in_range",
            ),
        ]


class CreditLine(FirmOwned):
    """A credit line of a household version."""

    facts = True

    version = owned_key("planning.HouseholdVersion", "lines")
    account = owned_key("planning.Account", "+")
    position = models.PositiveIntegerField()
    day_basis = models.CharField(max_length=6)
    spread = RateField()
    owners_explained = models.TextField(null=True)  # noqa: DJ001 - not given is not ""

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "version", "account"], name="line_once"),
            models.CheckConstraint(
                condition=Q(day_basis__in=("365", "actual")) & rate_between("spread", "-0.10", "1"),
                name="line_in_range",
            ),
        ]


class InvestmentAccount(FirmOwned):
    """An investment account of a household version."""

    facts = True

    version = owned_key("planning.HouseholdVersion", "investments")
    account = owned_key("planning.Account", "+")
    position = models.PositiveIntegerField()
    kind = models.CharField(max_length=16)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "version", "account"], name="investment_once"),
            models.CheckConstraint(
                condition=Q(kind__in=ACCOUNT_KINDS), name="investment_kind_known"
            ),
        ]


class Party(FirmOwned):
    """A person's part in an account: who borrows, pays, claims the interest, owns."""

    facts = True

    version = owned_key("planning.HouseholdVersion", "parties")
    account = owned_key("planning.Account", "+")
    member = owned_key("planning.Member", "+")
    part = models.CharField(max_length=8)
    position = models.PositiveIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "version", "account", "part", "position"], name="party_once"
            ),
            models.CheckConstraint(condition=Q(part__in=PARTIES), name="party_part_known"),
        ]
