"""What the firm wrote down about a household's fitness to borrow, version by version."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from config.database.base import FirmOwned, cents_between, owned_key
from planning.core.suitability import LEVELS

LOWEST_WORTH = -(10**15)


def _known(field: str) -> Q:
    return Q(**{f"{field}__isnull": True}) | Q(**{f"{field}__in": LEVELS})


class LeverageAssessment(FirmOwned):
    """One dated assessment of a household version; what it does not say is null."""

    facts = True

    version = owned_key("planning.HouseholdVersion", "assessments")
    on = models.DateField()
    net_worth_cents = models.BigIntegerField(null=True)
    liquid_net_worth_cents = models.BigIntegerField(null=True)
    gross_income_cents = models.BigIntegerField(null=True)
    other_loans_cents = models.BigIntegerField(null=True)
    other_payments_cents = models.BigIntegerField(null=True)
    knowledge = models.CharField(max_length=6, null=True)  # noqa: DJ001 - not given is not ""
    risk_tolerance = models.CharField(max_length=6, null=True)  # noqa: DJ001 - not given is not ""
    horizon_years = models.PositiveSmallIntegerField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "version", "on"], name="assessment_once"),
            models.CheckConstraint(
                condition=cents_between("net_worth_cents", LOWEST_WORTH)
                & cents_between("liquid_net_worth_cents", LOWEST_WORTH)
                & cents_between("gross_income_cents")
                & cents_between("other_loans_cents")
                & cents_between("other_payments_cents"),
                name="assessment_in_range",
            ),
            models.CheckConstraint(
                condition=_known("knowledge") & _known("risk_tolerance"),
                name="assessment_words_known",
            ),
            models.CheckConstraint(
                condition=Q(horizon_years__isnull=True) | Q(horizon_years__lte=100),
                name="assessment_horizon_in_range",
            ),
        ]


class LeverageDisclosure(FirmOwned):
    """A day on which the household was given the leverage disclosure."""

    facts = True

    version = owned_key("planning.HouseholdVersion", "disclosures")
    on = models.DateField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "version", "on"], name="disclosure_once"),
        ]
