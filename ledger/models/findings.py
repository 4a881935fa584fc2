"""The list of findings a firm works through, and what happened to each."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from config.database.base import FirmOwned, owned_key
from ledger.core.finding_changes import EVENT_KINDS, FINDING_STATES, SEVERITIES


class Finding(FirmOwned):
    """One unbroken run of one trigger for one household.

    `first_month`, `last_month`, `dollars_cents` and `severity` are those of the
    newest close; `state` is what became of it: people may mark it `seen` or
    accept it until a day, closes file it as `cured` (it stopped) or `closed` (its
    month passed, or corrected facts withdrew it). `assignee` is whoever works on it.
    """

    household = owned_key("planning.Household", "findings")
    code = models.CharField(max_length=40)
    key = models.CharField(max_length=200)
    first_month = models.DateField()
    last_month = models.DateField()
    dollars_cents = models.BigIntegerField()
    cost_per_year_cents = models.BigIntegerField(default=0)
    severity = models.CharField(max_length=8)
    life = models.CharField(max_length=8)
    open = models.BooleanField()
    state = models.CharField(max_length=10)
    accepted_until = models.DateField(null=True, help_text="the last day of the acceptance")
    assignee = owned_key("planning.Membership", "findings", null=True)
    detail = models.JSONField(help_text="evidence and remedy as the newest close gave them")
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "household", "code", "key"],
                condition=Q(open=True),
                name="finding_open_once",
            ),
            models.CheckConstraint(
                condition=Q(state__in=FINDING_STATES), name="finding_state_is_known"
            ),
            models.CheckConstraint(
                condition=Q(severity__in=SEVERITIES), name="finding_severity_is_known"
            ),
            models.CheckConstraint(
                condition=Q(open=True, state__in=["open", "seen", "accepted"])
                | Q(open=False, state__in=["cured", "closed"]),
                name="finding_state_fits_open",
            ),
            models.CheckConstraint(
                condition=Q(state="accepted", accepted_until__isnull=False)
                | (~Q(state="accepted") & Q(accepted_until__isnull=True)),
                name="finding_accepted_until_a_day",
            ),
            models.CheckConstraint(
                condition=Q(dollars_cents__gte=0), name="finding_dollars_not_negative"
            ),
            models.CheckConstraint(
                condition=Q(last_month__gte=models.F("first_month")),
                name="finding_months_in_order",
            ),
        ]
        indexes = [
            models.Index(fields=["firm", "open", "severity"], name="finding_work_list"),
            models.Index(fields=["firm", "household", "code"], name="finding_by_household"),
            models.Index(
                fields=["firm", "assignee"],
                condition=Q(open=True, assignee__isnull=False),
                name="finding_by_assignee",
            ),
        ]


class FindingEvent(FirmOwned):
    """One thing that happened to a finding. Rows are added, never changed.

    `reason` is why it was accepted, or the words of a note; `until` the last day
    of an acceptance; `assignee` whom it was given to. `form` is the id of the
    form a note came with: the same form twice is one note.
    """

    facts = True

    finding = owned_key("ledger.Finding", "events")
    number = models.PositiveIntegerField(help_text="1, 2, 3 within the finding")
    kind = models.CharField(max_length=10)
    month = models.DateField(null=True, help_text="the close that saw it; none for a person's act")
    dollars_cents = models.BigIntegerField()
    severity = models.CharField(max_length=8)
    reason = models.TextField(default="")
    until = models.DateField(null=True)
    assignee = owned_key("planning.Membership", "finding_events", null=True)
    form = models.UUIDField(null=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.RESTRICT, related_name="+"
    )
    recorded_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["firm", "finding", "number"], name="finding_event_number"
            ),
            models.UniqueConstraint(
                fields=["firm", "finding", "form"],
                condition=Q(form__isnull=False),
                name="finding_form_once",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=EVENT_KINDS), name="finding_event_kind_is_known"
            ),
            models.CheckConstraint(
                condition=~Q(kind="accepted") | ~Q(reason=""), name="acceptance_gives_a_reason"
            ),
            models.CheckConstraint(
                condition=~Q(kind="noted") | ~Q(reason=""), name="note_says_something"
            ),
            models.CheckConstraint(
                condition=~Q(kind="assigned") | Q(assignee__isnull=False),
                name="assignment_names_somebody",
            ),
        ]
