"""Work in the background, as rows that people can watch."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Now

from config.database.base import FirmOwned

JOB_STATES = ("queued", "running", "done", "failed")


class Job(FirmOwned):
    """One piece of background work and how far it is.

    `kind` and `key` name it ("close", "2026-05"): asking for the same work
    again is the same row. A job shows progress; it decides nothing. Whether
    work is finished is read from the rows of the work itself.
    """

    kind = models.CharField(max_length=20)
    key = models.CharField(max_length=200)
    state = models.CharField(max_length=10, default="queued")
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    message = models.TextField(default="")
    recorded_at = models.DateTimeField(db_default=Now())
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["firm", "kind", "key"], name="job_once"),
            models.CheckConstraint(condition=Q(state__in=JOB_STATES), name="job_state_is_known"),
            models.CheckConstraint(condition=Q(done__lte=F("total")), name="job_done_within_total"),
        ]
        indexes = [models.Index(fields=["firm", "state", "recorded_at"], name="job_list")]
