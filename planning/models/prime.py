"""The prime rate a household's accounts follow, as steps."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from config.database.base import FirmOwned, RateField, owned_key, rate_between


class PrimeRate(FirmOwned):
    """Prime from a date on. A correction is a further revision; without a rate it withdraws."""

    facts = True

    household = owned_key("planning.Household", "primes")
    starts = models.DateField()
    revision = models.PositiveIntegerField(default=1)
    rate = RateField(null=True)
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "household", "starts", "revision"], name="prime_once"
            ),
            models.CheckConstraint(
                condition=rate_between("rate", "-0.05", "1") & Q(revision__gte=1),
                name="prime_in_range",
            ),
        ]
