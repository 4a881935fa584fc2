"""A firm's month, and each household's month in it, with every version of its result."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from config.database.base import FirmOwned, owned_key
from ledger.core.lifecycle import CLOSE_STATES, ITEM_STATES

MONTH_STARTS_ON_DAY_ONE = Q(month__day=1)


class MonthClose(FirmOwned):
    """One firm's close of one month. There is never a second one."""

    month = models.DateField(help_text="the first day of the month")
    state = models.CharField(max_length=24, default="scheduled")
    recorded_at = models.DateTimeField(db_default=Now())
    completed_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "month"], name="close_once_a_month"),
            models.CheckConstraint(
                condition=MONTH_STARTS_ON_DAY_ONE, name="close_month_starts_on_day_one"
            ),
            models.CheckConstraint(
                condition=Q(state__in=CLOSE_STATES), name="close_state_is_known"
            ),
        ]


class HouseholdMonth(FirmOwned):
    """One version of one household's month: the work to do, then the result, for good.

    `fence` rises whenever the row is claimed or the facts behind it change; a
    result is only written by whoever holds the newest fence. `lease_until` and
    `due_at` are read against the database clock. `stale_reason` is set on a
    done month whose facts changed since. Once `result_digest` is set the
    database refuses to change the result.
    """

    close = owned_key("ledger.MonthClose", "items")
    household = owned_key("planning.Household", "months")
    month = models.DateField()
    version = models.PositiveIntegerField(default=1)
    state = models.CharField(max_length=10, default="waiting")
    reason = models.TextField(default="", help_text="why this version was opened")

    fence = models.BigIntegerField(default=0)
    attempt = models.PositiveIntegerField(default=0)
    due_at = models.DateTimeField(db_default=Now())
    lease_until = models.DateTimeField(null=True)
    hinted_at = models.DateTimeField(null=True)
    error = models.TextField(default="")

    input_digest = models.CharField(max_length=64, default="")
    engine = models.CharField(max_length=40, default="")
    result = models.JSONField(null=True)
    result_digest = models.CharField(max_length=64, default="")
    stale_reason = models.TextField(default="")

    recorded_at = models.DateTimeField(db_default=Now())
    closed_at = models.DateTimeField(null=True)
    superseded_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "household", "month", "version"], name="household_month_version"
            ),
            models.UniqueConstraint(
                fields=["firm", "household", "month"],
                condition=~Q(state="superseded"),
                name="household_month_current",
            ),
            models.CheckConstraint(
                condition=MONTH_STARTS_ON_DAY_ONE, name="household_month_starts_on_day_one"
            ),
            models.CheckConstraint(
                condition=Q(state__in=ITEM_STATES), name="household_month_state_is_known"
            ),
            models.CheckConstraint(
                condition=~Q(state="done") | (~Q(result_digest="") & Q(result__isnull=False)),
                name="done_has_a_result",
            ),
            models.CheckConstraint(
                condition=Q(state="running", lease_until__isnull=False)
                | (~Q(state="running") & Q(lease_until__isnull=True)),
                name="running_has_a_lease",
            ),
        ]
        indexes = [
            models.Index(
                fields=["firm", "state", "due_at"],
                condition=Q(state__in=["pending", "failed", "running", "waiting"]),
                name="household_month_work",
            ),
            models.Index(fields=["firm", "close", "state"], name="household_month_by_close"),
        ]
