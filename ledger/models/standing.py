"""Where each household stands, as one row kept by the database beside the facts.

The rows are derived. Triggers write them in the transaction that changes a
household, a finding, a month or a mortgage's term, whoever changes it, so that the
work list of a large book is one walk along an index and its counts are sums of
a few counters. `towpath_stand(ids)` in the migration is the one place that says how.
"""

from __future__ import annotations

from django.contrib.postgres.fields import ArrayField
from django.db import models

from config.database.base import FirmOwned, owned_key

CLEAR = 4
"""The urgency of a household without a working finding; the severities are 0 to 3."""


class HouseholdStanding(FirmOwned):
    """What the work list says of a household. Its id is the household's.

    Only findings count that still ask for something: open and not accepted.
    `severity_cents` go with `severities`, place by place: dollars that may be added
    up. `more` is the number of steps beside the top one, `states` those of all open
    findings, `renewal` the day the first mortgage's last known term ends.
    """

    household = owned_key("planning.Household", "standing")
    advisor = owned_key("planning.Membership", "standings", null=True)
    advisor_email = models.CharField(max_length=200, default="")
    ref = models.CharField(max_length=64, db_collation="C")
    name = models.CharField(max_length=200)
    province = models.CharField(max_length=2)
    urgency = models.SmallIntegerField(default=CLEAR)
    minus_drift_cents = models.BigIntegerField(default=0, help_text="drift below zero, to sort by")
    unseen = models.IntegerField(default=0, help_text="to act on or fix, and not looked at yet")
    severities = ArrayField(models.CharField(max_length=8), default=list)
    severity_cents = ArrayField(models.BigIntegerField(), default=list)
    codes = ArrayField(models.CharField(max_length=40), default=list)
    states = ArrayField(models.CharField(max_length=10), default=list)
    assignees = ArrayField(models.UUIDField(), default=list)
    top = models.UUIDField(null=True)
    top_code = models.CharField(max_length=40, default="")
    more = models.IntegerField(default=0)
    due = models.DateField(null=True)
    last_closed = models.DateField(null=True)
    stale = models.BooleanField(default=False)
    renewal = models.DateField(null=True)
    eligible_cents = models.BigIntegerField(null=True)
    mortgage_cents = models.BigIntegerField(null=True)
    line_cents = models.BigIntegerField(null=True)

    class Meta:
        indexes = [
            models.Index(
                fields=["firm", "urgency", "minus_drift_cents", "ref"], name="standing_in_order"
            ),
            models.Index(
                fields=["firm", "advisor", "urgency", "minus_drift_cents", "ref"],
                name="standing_in_order_of_advisor",
            ),
            models.Index(fields=["firm", "renewal"], name="standing_by_renewal"),
        ]


class HouseholdWord(FirmOwned):
    """A word of a household's name or reference, small and without accents, to search by."""

    household = owned_key("planning.Household", "words")
    word = models.CharField(max_length=200, db_collation="C")

    class Meta:
        indexes = [
            models.Index(fields=["firm", "word", "household"], name="word_of_household"),
            models.Index(fields=["firm", "household", "word"], name="household_word"),
        ]


class StandingCount(FirmOwned):
    """What is to be added to the count of one facet's value. A count is the sum of its rows.

    `scope` is the firm, or a member whose book it is. Every change adds rows of its
    own, so that no two closes wait for each other; now and then they are folded.
    """

    scope = models.UUIDField()
    facet = models.CharField(max_length=10)
    value = models.CharField(max_length=200, db_collation="C")
    households = models.IntegerField()
    cents = models.BigIntegerField(default=0)

    class Meta:
        indexes = [
            models.Index(
                fields=["firm", "scope", "facet", "value"],
                include=["households", "cents"],
                name="standing_count",
            )
        ]
